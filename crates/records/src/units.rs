//! Units a column may be written in.

use words::{Text, constant};

/// How the values of a column are written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// What values are multiplied by to be in the schema's unit; of times with colons, the part
    /// before the first colon.
    pub factor: f64,
    /// What is written.
    pub form: Form,
}

/// What the cells of a column hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// The quantity itself.
    Plain,
    /// Times with colons, each part sixty to one of the part before it.
    Colons,
    /// What is left of a whole, where the column is of what was taken.
    Left,
}

impl Unit {
    /// A unit whose values are multiplied to be in the schema's.
    #[must_use]
    pub fn plain(factor: f64) -> Self {
        Self { factor, form: Form::Plain }
    }

    /// Whether times are written with colons.
    #[must_use]
    pub fn has_colons(self) -> bool {
        self.form == Form::Colons
    }

    /// Whether what is left is written.
    #[must_use]
    pub fn is_left(self) -> bool {
        self.form == Form::Left
    }

    /// Whether values are in the schema's unit as they are written.
    #[must_use]
    pub fn is_schema(self) -> bool {
        self == Self::plain(1.0)
    }
}

/// Times written with colons, their schema unit, and the factor of the part before the first.
const COLONS: &[(&str, &str, f64)] = &[("h:mm", "min", 60.0), ("m:ss", "min", 1.0)];

/// Words that say which part of the canopy a cut is written as, what was cut or what was left, their
/// schema unit, the factor and the form. Ours: a convention.
const PARTS: &[(&str, &str, f64, Form)] = &[
    ("fraction_cut", "fraction", 1.0, Form::Plain),
    ("pct_cut", "fraction", 0.01, Form::Plain),
    ("fraction_left", "fraction", 1.0, Form::Left),
    ("pct_left", "fraction", 0.01, Form::Left),
];

/// Words for a unit, the schema unit it converts to, and the factor.
/// Sources: international avoirdupois pound 0.45359237 kg, foot 0.3048 m and acre 0.40468564224 ha
/// (foot of exactly 0.3048 m, acre of 43560 square feet): NIST Handbook 44, appendix C.
const CONVERSIONS: &[(&[&str], &str, f64)] = &[
    (&["kg", "kgs", "kilogram", "kilograms"], "kg", 1.0),
    (&["g", "gram", "grams"], "kg", 0.001),
    (&["t", "tonne", "tonnes"], "kg", 1000.0),
    (&["lb", "lbs", "pound", "pounds"], "kg", 0.453_592_37),
    (&["m", "metre", "metres", "meter", "meters"], "m", 1.0),
    (&["cm"], "m", 0.01),
    (&["mm"], "m", 0.001),
    (&["ft", "foot", "feet"], "m", 0.3048),
    (&["cm"], "cm", 1.0),
    (&["mm"], "cm", 0.1),
    (&["m", "metre", "metres", "meter", "meters"], "cm", 100.0),
    (&["ft", "foot", "feet"], "cm", 30.48),
    (&["m2", "m²", "sqm"], "m2", 1.0),
    (&["cm2", "cm²"], "m2", 0.0001),
    (&["ft2", "ft²", "sqft"], "m2", 0.092_903_04),
    (&["ha", "hectare", "hectares"], "ha", 1.0),
    (&["m2", "m²", "sqm"], "ha", 0.0001),
    (&["acre", "acres", "ac"], "ha", 0.404_685_642_24),
    (&["min", "minute", "minutes"], "min", 1.0),
    (&["h", "hour", "hours", "hr", "hrs"], "min", 60.0),
    (&["s", "sec", "seconds"], "min", 1.0 / 60.0),
    (&["fraction"], "fraction", 1.0),
    (&["pct", "%", "percent", "per cent"], "fraction", 0.01),
    (&["pct", "%", "percent", "per cent"], "%", 1.0),
    (&["fraction"], "%", 100.0),
];

/// How a weight or a time is said to be that of one tree, which every row of a visit is.
const PER_TREE: &[&str] = &[
    "/tree",
    "/plant",
    "per tree",
    "per plant",
    "tree-1",
    "tree\u{207b}\u{b9}",
    "/\u{e1}rvore",
    "/planta",
    "por \u{e1}rvore",
    "por planta",
];

/// Units a value may be in by mistake: word for `book.toml`, name for people, schema unit, divisor.
const MISTAKEN: &[(&str, Text, &str, f64)] = &[
    ("g", constant!("grams"), "kg", 1000.0),
    ("cm", constant!("centimetres"), "m", 100.0),
    ("mm", constant!("millimetres"), "m", 1000.0),
    ("mm", constant!("millimetres"), "cm", 10.0),
    ("cm2", constant!("square centimetres"), "m2", 10_000.0),
    ("pct", constant!("per cent"), "fraction", 100.0),
    ("m2", constant!("square metres"), "ha", 10_000.0),
];

/// A unit as `book.toml` declares it: a word such as `g`, a quantity of one such as `2.5 kg` where
/// tins or bags of that weight were counted, a form of times such as `h:mm`, or the part of the canopy
/// that is written, such as `pct_left`.
#[must_use]
pub fn declared(written: &str, schema: &str) -> Option<Unit> {
    let written = written.trim();
    let with_colons = COLONS.iter().find(|(form, into, _)| *form == written && *into == schema);
    if let Some((_, _, factor)) = with_colons {
        return Some(Unit { factor: *factor, form: Form::Colons });
    }
    let part = PARTS.iter().find(|(word, into, ..)| *word == written && *into == schema);
    if let Some((_, _, factor, form)) = part {
        return Some(Unit { factor: *factor, form: *form });
    }
    let start = written.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(written.len());
    let (quantity, word) = written.split_at(start);
    let quantity = match quantity {
        "" => 1.0,
        digits => digits.parse::<f64>().ok().filter(|&of| of > 0.0 && of.is_finite())?,
    };
    factor(word, schema).map(|factor| Unit::plain(quantity * factor))
}

/// Whether a unit as `book.toml` declares it says which part of the canopy is written.
#[must_use]
pub fn tells_part(written: &str) -> bool {
    PARTS.iter().any(|(word, ..)| *word == written.trim())
}

/// What a unit's values are multiplied by to be in the schema's unit.
#[must_use]
pub fn factor(written: &str, schema: &str) -> Option<f64> {
    let written = written.trim().to_lowercase().replace(" /", "/").replace("/ ", "/");
    let per_tree = PER_TREE.iter().find_map(|of| written.strip_suffix(of));
    let written = match per_tree.filter(|_| matches!(schema, "kg" | "min")) {
        Some(unit) => unit.trim_end(),
        None => &written,
    };
    CONVERSIONS
        .iter()
        .find(|(words, into, _)| *into == schema && words.contains(&written))
        .map(|(_, _, factor)| *factor)
}

/// Whether a word stands for per cent.
#[must_use]
pub fn is_per_cent(word: &str) -> bool {
    factor(word, "%") == Some(1.0)
}

/// The units understood for a schema unit, for a message.
#[must_use]
pub fn takes(schema: &str) -> String {
    let units = CONVERSIONS.iter().filter(|(_, into, _)| *into == schema);
    units.filter_map(|(words, _, _)| words.first().copied()).collect::<Vec<_>>().join(", ")
}

/// The words for the part of the canopy that is written understood for a schema unit.
#[must_use]
pub fn parts(schema: &str) -> Vec<&'static str> {
    PARTS.iter().filter(|(_, into, ..)| *into == schema).map(|(word, ..)| *word).collect()
}

/// The forms of times with colons understood for a schema unit.
#[must_use]
pub fn forms(schema: &str) -> Vec<&'static str> {
    COLONS.iter().filter(|(_, into, _)| *into == schema).map(|(form, _, _)| *form).collect()
}

/// The unit in which an impossible value would be a usual one: word, name, and the value in the
/// schema's unit.
#[must_use]
pub fn mistaken(
    value: f64,
    schema: &str,
    usual: (f64, f64),
) -> Option<(&'static str, &'static str, f64)> {
    MISTAKEN.iter().filter(|(_, _, into, _)| *into == schema).find_map(|(word, name, _, by)| {
        let converted = value / by;
        (usual.0..=usual.1).contains(&converted).then_some((*word, name.get(), converted))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conversions() {
        assert_eq!(factor("G", "kg"), Some(0.001));
        assert_eq!(factor("lb", "kg"), Some(0.453_592_37));
        assert_eq!(factor("ft", "m"), Some(0.3048));
        assert_eq!(factor("m", "cm"), Some(100.0));
        assert_eq!(factor("h", "min"), Some(60.0));
        assert_eq!(factor("acre", "ha"), Some(0.404_685_642_24));
        assert_eq!(factor("kg", "m"), None);
        // A pick is of one tree, and so is the time that its pruning took.
        for (written, kg) in [("kg/tree", 1.0), ("g / plant", 0.001), ("kg per tree", 1.0)] {
            assert_eq!(factor(written, "kg"), Some(kg), "{written}");
        }
        assert_eq!(factor("min/tree", "min"), Some(1.0));
        for other in ["kg/plot", "kg/ha", "/tree", "tins/tree"] {
            assert_eq!(factor(other, "kg"), None, "{other}");
        }
        assert_eq!(factor("cm/tree", "cm"), None);
        // 0.3048^2 and 43560 x 0.3048^2 / 10000, as the sources define them.
        assert!((factor("ft2", "m2").unwrap() - 0.3048 * 0.3048).abs() < 1e-15);
        assert!((factor("acre", "ha").unwrap() - 43_560.0 * 0.3048 * 0.3048 / 1e4).abs() < 1e-15);
    }

    #[test]
    fn quantities_and_times_are_units() {
        let plain = |factor| Some(Unit::plain(factor));
        assert_eq!(declared("2.5 kg", "kg"), plain(2.5));
        assert_eq!(declared("500g", "kg"), plain(0.5));
        assert_eq!(declared(" g ", "kg"), plain(0.001));
        assert_eq!(declared("h:mm", "min"), Some(Unit { factor: 60.0, form: Form::Colons }));
        assert_eq!(declared("m:ss", "min"), Some(Unit { factor: 1.0, form: Form::Colons }));
        for refused in ["2.5", "tins", "0 kg", "2.5 tins", "-1 kg", "1.2.3 kg", "h:mm"] {
            assert_eq!(declared(refused, "kg"), None, "{refused}");
        }
    }

    /// A cut may be written as what it left of the canopy.
    #[test]
    fn what_is_left_is_a_unit_of_fractions() {
        let left = |factor| Some(Unit { factor, form: Form::Left });
        assert_eq!(declared("pct_left", "fraction"), left(0.01));
        assert_eq!(declared("fraction_left", "fraction"), left(1.0));
        assert_eq!(declared("pct_cut", "fraction"), Some(Unit::plain(0.01)));
        for of in ["kg", "%", "min"] {
            assert_eq!(declared("pct_left", of), None, "{of}");
        }
        assert!(tells_part("pct_cut") && !tells_part("pct"));
        // A word of the settings, and none of a cell or heading.
        assert_eq!(factor("pct_left", "fraction"), None);
    }

    #[test]
    fn four_thousand_kilograms_are_grams() {
        assert_eq!(mistaken(4000.0, "kg", (0.0, 60.0)), Some(("g", "grams", 4.0)));
        assert_eq!(mistaken(750.0, "m", (2.0, 15.0)), Some(("cm", "centimetres", 7.5)));
        assert_eq!(mistaken(2500.0, "m2", (0.04, 4.0)), Some(("cm2", "square centimetres", 0.25)));
        assert_eq!(mistaken(1e9, "kg", (0.0, 60.0)), None);
    }
}
