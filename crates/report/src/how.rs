//! Links from a number on a page to how it was computed: an entry of the dictionary, or the
//! method's own section where a run has one.

use crate::content::Method;
use crate::dictionary::{Field, review_fields, trial_fields};

/// The part of the dictionary that an entry stands in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// `advice.json` and its tables.
    Advice,
    /// `laterals.json`.
    Laterals,
    /// `workplan.csv`.
    WorkPlan,
    /// The other tables of the plan.
    PlanTables,
    /// `quarantine.csv`.
    Quarantine,
    /// Numbers of `index.html` alone.
    Page,
    /// Tables and figures of `trials.html`.
    Trials,
    /// Tables and figures of `review.html`.
    Review,
}

impl Part {
    const fn name(self) -> &'static str {
        match self {
            Self::Advice => "advice",
            Self::Laterals => "laterals",
            Self::WorkPlan => "workplan",
            Self::PlanTables => "plan",
            Self::Quarantine => "quarantine",
            Self::Page => "page",
            Self::Trials => "trials",
            Self::Review => "review",
        }
    }

    /// Id of a field's row on the dictionary's page.
    #[must_use]
    pub fn anchor(self, field: &Field) -> String {
        match self {
            Self::Advice | Self::Laterals | Self::Page | Self::Trials | Self::Review => {
                self.id(field.path)
            }
            Self::WorkPlan | Self::Quarantine => self.id(field.column),
            Self::PlanTables => self.id(&format!("{}.{}", field.path, field.column)),
        }
    }

    /// Link to an entry by its path, column or place.
    fn link(self, key: &str) -> String {
        format!("dictionary.html#{}", self.id(key))
    }

    /// Lower-case letters, digits and hyphens.
    fn id(self, key: &str) -> String {
        let mut out = self.name().to_owned();
        for word in key.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty())
        {
            out.push('-');
            out.push_str(&word.to_ascii_lowercase());
        }
        out
    }
}

/// Link to a region's field of `advice.json`, such as `present.intensity`.
pub fn advice(path: &str) -> String {
    Part::Advice.link(&format!("regions[].{path}"))
}

/// Link to a field of `laterals.json`, such as `path.kg.total`.
pub fn laterals(path: &str) -> String {
    Part::Laterals.link(path)
}

/// Link to a column of `workplan.csv`.
pub fn work_plan(column: &str) -> String {
    Part::WorkPlan.link(column)
}

/// Link to a column of another table of the plan.
pub fn plan_table(file: &str, column: &str) -> String {
    Part::PlanTables.link(&format!("{file}.{column}"))
}

/// Link to a number of the page that stands in no file.
pub fn page(place: &str) -> String {
    Part::Page.link(place)
}

/// Link to a paragraph of the run's own method; `otherwise` where the run has none.
pub fn method(method: &Method, id: &str, otherwise: String) -> String {
    if method.sentences.iter().any(|item| item.id == id) { format!("#how-{id}") } else { otherwise }
}

/// Link to the kind of a trial's table or figure, known by the beginning of its name; empty for an
/// unknown kind.
pub fn trial(name: &str) -> String {
    by_beginning(Part::Trials, trial_fields(), name)
}

/// As [`trial`], for a table or figure of the review.
pub fn review(name: &str) -> String {
    by_beginning(Part::Review, review_fields(), name)
}

fn by_beginning(part: Part, fields: &[Field], name: &str) -> String {
    fields
        .iter()
        .filter(|field| {
            name.strip_prefix(field.path)
                .is_some_and(|rest| rest.is_empty() || rest.starts_with('-'))
        })
        .max_by_key(|field| field.path.len())
        .map_or_else(String::new, |field| part.link(field.path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_names_the_row_of_its_entry() {
        let field = crate::dictionary::advice_fields()
            .iter()
            .find(|field| field.path == "regions[].tested_intensity[0]")
            .map(|field| Part::Advice.anchor(field));
        assert_eq!(field.as_deref(), Some("advice-regions-tested-intensity-0"));
        assert_eq!(
            advice("tested_intensity[0]"),
            "dictionary.html#advice-regions-tested-intensity-0"
        );
    }

    #[test]
    fn the_longest_kind_wins() {
        assert_eq!(
            trial("residuals-in-the-field"),
            "dictionary.html#trials-residuals-in-the-field"
        );
        assert_eq!(trial("means-by-seasons"), "dictionary.html#trials-means");
        assert_eq!(trial("meanstreak"), "");
    }
}
