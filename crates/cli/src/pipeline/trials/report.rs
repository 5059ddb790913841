//! Analysed trials as the report takes them.

use super::DeclaredTrial;
use super::analysed::{AnalysedPart, AnalysedTrial, analysed};
use super::counts::trait_of;
use super::pooling::PooledTrait;
use super::words::{factor_words, part_finding, sentence, sites_finding, with_treatments_in_words};
use super::{amounts, checks, compared, further, own_scale, plots, tables, together};
use ::words::{Language, capital, language, say, speaking, text};
use records::counted;
use report::{TrialPart, TrialReport, TrialSection, stem};
use trials::compare::ComparisonTable;
use trials::methods::Methods;
use trials::{Analysis, MeansOfTerm};

/// A trial for the page; headings and words of its CSV files are English in every language.
#[must_use]
pub fn report(trial: &AnalysedTrial) -> TrialReport {
    let mut shown = spoken(trial);
    if language() != Language::English {
        // Names of what was observed, and of what an analysis sets apart, are words of its language.
        let english =
            speaking(Language::English, || spoken(&analysed(in_english(&trial.declared))));
        for (own, english) in shown.parts.iter_mut().zip(&english.parts) {
            for (own, english) in own.sections.iter_mut().zip(&english.sections) {
                own.file_words_of(english);
            }
        }
    }
    shown
}

/// The trial with its traits named in English, which is spoken.
fn in_english(declared: &DeclaredTrial) -> DeclaredTrial {
    let mut out = declared.clone();
    let traits: Vec<trials::Trait> =
        declared.declaration.traits.iter().map(|of| trait_of(*of)).collect();
    for observed in &mut out.observed {
        if let Some(own) = traits.iter().find(|own| own.id == observed.observed.id) {
            observed.observed = trials::Trait { kind: observed.observed.kind, ..own.clone() };
        }
    }
    out
}

/// A trial in the language spoken.
fn spoken(trial: &AnalysedTrial) -> TrialReport {
    let declared = &trial.declared;
    let seasons: Vec<String> = declared.seasons.iter().map(ToString::to_string).collect();
    let mut facts = vec![
        (say!("Design"), capital(declared.declaration.design.name())),
        (
            say!("Compared"),
            declared
                .declaration
                .keyed_factors()
                .map(|(_, factor)| factor_words(factor))
                .collect::<Vec<_>>()
                .join(", "),
        ),
        (say!("Trees"), counted(declared.trees as u64, text!("tree"), text!("trees"))),
    ];
    if !seasons.is_empty() {
        facts.push((say!("Seasons analysed"), seasons.join(", ")));
    }
    if let (Some(covariate), Some(earlier)) = (&declared.declaration.covariate, declared.earlier)
        && covariate == "earlier_crop"
    {
        facts.push((say!("Earlier crop"), say!("that of season {earlier}")));
    }
    let said = sentence(trial);
    // A trial without any part says why in its sentence.
    let slips = trial.slips();
    let slips = slips.iter().map(|slip| {
        say!(
            "Look at the trial table: {what}. Remedy: {remedy}.",
            what = slip.what(),
            remedy = slip.remedy()
        )
    });
    let own = declared.notes.iter().filter(|note| **note != said).cloned();
    let mut notes: Vec<String> = slips.chain(own).collect();
    if trial.parts.iter().any(uneven_pairs) {
        notes.push(say!(
            "Where pairs of means differ in precision, SEd is their root mean square, and least and greatest SEd stand beside it: judge each pair by its own."
        ));
    }
    TrialReport {
        id: declared.id.clone(),
        title: declared.title().to_owned(),
        notes,
        sentence: said,
        facts,
        parts: over_sites(trial)
            .chain(trial.parts.iter().map(|part| part_report(trial, part)))
            .collect(),
    }
}

/// Whether some kind of comparison holds pairs of unequal precision.
fn uneven_pairs(part: &AnalysedPart) -> bool {
    let kinds = part.outcome.iter().flat_map(|analysis| &analysis.means);
    kinds.flat_map(|of| &of.comparisons).any(|kind| !kind.equal)
}

/// Sites together, before each by itself.
fn over_sites(trial: &AnalysedTrial) -> impl Iterator<Item = TrialPart> {
    trial.pooled.iter().filter(|pooled| pooled.over == "sites").map(|pooled| {
        let own = trial.parts.iter().filter(|part| part.observed == pooled.observed);
        let sites: Vec<_> =
            own.filter_map(|part| Some((part.outcome.as_ref().ok()?, &part.rows))).collect();
        // Sites that cannot be combined, or of which one was refused, tell each by itself.
        let size = pooled.combined.as_ref().ok().and_then(|found| {
            let whole = sites.len() == found.environments.len();
            further::next_size_of_sites(&sites).filter(|_| whole)
        });
        let (size, files): (Vec<_>, Vec<_>) = size.into_iter().unzip();
        let section = together::section(&trial.declared.declaration, pooled);
        TrialPart {
            heading: say!("{}, all sites", capital(&pooled.observed.name)),
            slug: format!("{}-all-sites", pooled.observed.id),
            finding: sites_finding(&trial.declared.declaration, pooled),
            refused: None,
            sections: std::iter::once(section).chain(size).collect(),
            files,
        }
    })
}

fn part_report(trial: &AnalysedTrial, part: &AnalysedPart) -> TrialPart {
    let name = capital(&part.observed.name);
    let mut file = part.observed.id.clone();
    let mut heading = name;
    if let Some(site) = &part.site {
        heading = format!("{heading}, {site}");
        // Sites whose names differ in marks only must not share a file.
        let sites = trial.parts.iter().filter_map(|part| part.site.as_deref());
        file = format!("{file}-{}", stem(site, sites));
    }
    match &part.outcome {
        Ok(analysis) => {
            let (sections, files) = sections(trial, part, analysis);
            let finding = part_finding(part, analysis);
            TrialPart { heading, slug: file, finding, refused: None, sections, files }
        }
        Err(refusal) => TrialPart {
            heading,
            slug: file,
            finding: String::new(),
            refused: Some((refusal.to_string(), refusal.remedy().to_owned())),
            sections: Vec::new(),
            files: Vec::new(),
        },
    }
}

/// Sections of a part, and its files for programs.
fn sections(
    trial: &AnalysedTrial,
    part: &AnalysedPart,
    analysis: &Analysis,
) -> (Vec<TrialSection>, Vec<(&'static str, String)>) {
    let mut plan = analysis.plan.words.clone();
    plan.push(format!("{}.", capital(analysis.method.why.trim_end_matches('.'))));
    plan.extend(analysis.notes.iter().cloned());
    let mut sections = vec![TrialSection {
        heading: say!("The plan in words"),
        paragraphs: plan,
        ..TrialSection::default()
    }];
    let declaration = &trial.declared.declaration;
    let own_scale = part.own_scale.iter();
    sections.extend(own_scale.map(|found| own_scale::section(declaration, &part.observed, found)));
    sections.push(TrialSection {
        heading: say!("Analysis of variance"),
        tables: vec![tables::anova(analysis), tables::variation(analysis)],
        ..TrialSection::default()
    });
    let mut compared = Vec::new();
    for of in &analysis.means {
        sections.push(means_section(trial, analysis, of, &mut compared));
    }
    sections.extend(amounts::section(analysis));
    sections.extend(further::covariate(analysis));
    sections.extend(further::units(analysis));
    let (size, files): (Vec<_>, Vec<_>) =
        further::next_size(analysis, &part.rows).into_iter().unzip();
    if size.is_empty() {
        sections.push(further::no_next_size());
    }
    sections.extend(size);
    let (checked, checks) = checks::section(analysis, &part.rows);
    sections.push(checked);
    let own: Vec<&PooledTrait> =
        trial.pooled.iter().filter(|pooled| pooled.observed == part.observed).collect();
    if part.site.is_none() {
        sections.extend(
            own.iter().map(|pooled| together::section(&trial.declared.declaration, pooled)),
        );
    }
    let sites = own.iter().find(|pooled| pooled.over == "sites");
    let methods = Methods {
        comparisons: &compared,
        checks: checks.as_ref(),
        pooled: sites.and_then(|pooled| pooled.combined.as_ref().ok()),
        on_own_scale: part.own_scale.as_ref().ok(),
        ..Methods::of(analysis)
    };
    sections.push(TrialSection {
        heading: say!("Methods, for a paper"),
        paragraphs: vec![methods.paragraph()],
        ..TrialSection::default()
    });
    (sections, files)
}

fn means_section(
    trial: &AnalysedTrial,
    analysis: &Analysis,
    of: &MeansOfTerm,
    compared: &mut Vec<ComparisonTable>,
) -> TrialSection {
    let declaration = &trial.declared.declaration;
    let of = &with_treatments_in_words(declaration, analysis, of);
    let letters = declaration.letters.then(|| compared::letters(analysis, of)).flatten();
    let column: Option<Vec<String>> =
        letters.as_ref().map(|letters| letters.rows.iter().map(|(_, l)| l.clone()).collect());
    let mut tables = vec![tables::means(analysis, of, column.as_deref())];
    tables.extend(tables::comparisons(analysis, of));
    // Pairs of an interaction are asked for by its kinds of comparison, not one by one.
    if of.parts.len() == 1
        && let Some(found) = compared::table(analysis, of, declaration)
    {
        tables.push(found.table);
        compared.push(found.comparisons);
    }
    TrialSection {
        heading: capital(&factor_words(&of.term)),
        paragraphs: letters.into_iter().map(|letters| letters.warning).collect(),
        tables,
        plots: plots::means(analysis, of).into_iter().collect(),
    }
}
