//! Names of terms and groups in words. They are keys of files and of sums beyond this machine, so
//! that they stay as they are there; for people they follow the language.

use ::words::{say, text};

/// The name of a column or group of the yield model in the language spoken; the name itself where
/// it is none of these.
#[must_use]
pub fn term_in_words(name: &str) -> String {
    if name == "variety unknown" {
        return say!("variety unknown");
    }
    // What the book names comes last in a name, and may hold any words.
    if let Some(region) = name.strip_prefix("region ") {
        return say!("region {region}");
    }
    if let Some(variety) = name.strip_prefix("variety ") {
        return say!("variety {variety}");
    }
    if let Some(side) = name.strip_prefix("side ") {
        return say!("side {side}");
    }
    if let Some(basis) = name.strip_prefix("intensity measured as ") {
        return say!("intensity measured as {basis}");
    }
    if let Some((effect, region)) = name.split_once(" in ") {
        return say!("{effect} in {region}", effect = term_in_words(effect));
    }
    if let Some(curve) = name.strip_prefix("habit ") {
        return say!("habit {curve}", curve = term_in_words(curve));
    }
    if let Some(curve) = name.strip_suffix(" x log density") {
        return say!("{curve} x log density", curve = term_in_words(curve));
    }
    if let Some(group) = name.strip_suffix(" x season") {
        return say!("{group} x season", group = term_in_words(group));
    }
    if let Some(quantity) = name.strip_suffix(" unknown") {
        return say!("{quantity} unknown", quantity = term_in_words(quantity));
    }
    let known = match name {
        "intercept" => text!("intercept"),
        "hump" => text!("hump"),
        "tilt" => text!("tilt"),
        "bend" => text!("bend"),
        "late bend" => text!("late bend"),
        "rise" => text!("rise"),
        "timing" => text!("timing"),
        "timing squared" => text!("timing squared"),
        "log age" => text!("log age"),
        "log age squared" => text!("log age squared"),
        "log girth" => text!("log girth"),
        "log density" => text!("log density"),
        "age" => text!("age"),
        "girth" => text!("girth"),
        "planting density" => text!("planting density"),
        "variety" => text!("variety"),
        "earlier crop" => text!("earlier crop"),
        "earlier season" => text!("earlier season"),
        "earlier intensity" => text!("earlier intensity"),
        "tree" => text!("tree"),
        "block" => text!("block"),
        "site" => text!("site"),
        "region" => text!("region"),
        "residual" => text!("residual"),
        other => other,
    };
    known.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use ::words::Language;

    #[test]
    fn names_are_their_own_words_in_english_and_others_in_portuguese() {
        for (name, portuguese) in [
            ("hump x log density", "lombada x log da densidade"),
            ("habit tilt in in_between", "inclinação do hábito na região in_between"),
            ("site x season", "local x safra"),
            ("tree x season", "árvore x safra"),
            ("variety unknown", "variedade desconhecida"),
            ("planting density unknown", "densidade de plantio: valor desconhecido"),
            ("variety Clone in B", "variedade Clone in B"),
            ("region North in South", "região North in South"),
            ("intensity measured as shoots", "intensidade medida como shoots"),
        ] {
            assert_eq!(term_in_words(name), name);
            assert_eq!(::words::speaking(Language::Portuguese, || term_in_words(name)), portuguese);
        }
    }
}
