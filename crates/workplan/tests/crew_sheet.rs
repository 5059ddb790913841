//! Crew sheets: what they say, that drawings are well-formed, and that cautions are never left out.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

use jiff::civil::date;
use quick_xml::Reader;
use quick_xml::events::Event as Xml;
use records::MeasuredAs;
use workplan::calendar::event;
use workplan::crew_sheet::{Apart, CrewSheet, Drawing, HowMuch, SheetInput, Work};
use workplan::products::{Product, Quantity, Treated};
use workplan::text::{CATALOGUES, Catalogue, Key};
use workplan::tools::{common_practice, needed};
use workplan::young::{Training, YoungBlock};

fn input(work: Work) -> SheetInput {
    let guard: Product = serde_json::from_str(
        r#"{"kind": "insect_protection", "strength_pct": 5, "target_pct": 0.003, "usual_pct": 0.003,
            "volume_l_per_tree": 10, "re_entry_days": 2}"#,
    )
    .unwrap();
    let paste: Product =
        serde_json::from_str(r#"{"kind": "copper_paste", "ml_per_cut": 20}"#).unwrap();
    let treated = Treated { trees: 400.0, large_cuts: Some(900.0) };
    let quantities = vec![
        Quantity::of(&paste, "paste", &treated).unwrap(),
        Quantity::of(&guard, "guard", &treated).unwrap(),
    ];
    let cuts = [Some(6000.0), Some(2400.0), Some(800.0), Some(100.0)];
    SheetInput {
        block: "N<7>&\"x\"".to_owned(),
        site: "Lower estate".to_owned(),
        region: "North".to_owned(),
        work,
        trees: 400,
        trees_worked: 400,
        window: Some([date(2026, 7, 1), date(2026, 7, 31)]),
        scheduled: Some([date(2026, 7, 6), date(2026, 7, 14)]),
        left_undone: 0.0,
        person_days: Some(31.5),
        crew_size: Some(4.0),
        tools: needed(&common_practice(), &cuts, 4.0),
        stacked_m3: Some(812.4),
        quantities,
        ladders: true,
        in_trials: Vec::new(),
        apart: Apart::default(),
        ids: None,
        youngest_recorded: None,
    }
}

fn works() -> Vec<Work> {
    let mut works = Vec::new();
    for measured_as in MeasuredAs::ALL {
        for intensity in [0.05, 0.31, 0.5] {
            let canopy_m = Some([4.5, 7.2]);
            works.push(Work::Prune(HowMuch { intensity, measured_as, canopy_m }));
        }
    }
    for training in [Some(Training::OpenCentre), Some(Training::ModifiedLeader), None] {
        let block = YoungBlock {
            ages_years: vec![0.5, 1.5, 2.5],
            training,
            spacing_m: Some([8.0, 8.0]),
            topping_height_m: None,
        };
        works.push(Work::Train { tasks: block.tasks(), training_stated: training.is_some() });
    }
    works
}

fn sheets() -> Vec<CrewSheet> {
    let sheet = |work: &Work, words: Catalogue| input(work.clone()).sheet(&words);
    CATALOGUES
        .into_iter()
        .flat_map(|words| works().iter().map(|w| sheet(w, words)).collect::<Vec<_>>())
        .collect()
}

/// Element depth returns to zero, every name closes, and the texts are those of an SVG.
fn texts(drawing: &Drawing) -> Vec<String> {
    let mut reader = Reader::from_str(&drawing.svg);
    let (mut depth, mut texts, mut in_text) = (0, Vec::new(), false);
    loop {
        match reader.read_event().unwrap() {
            Xml::Start(tag) => {
                depth += 1;
                in_text = tag.name().as_ref() == "text";
                assert!(tag.attributes().all(|a| a.is_ok()));
            }
            Xml::End(_) => depth -= 1,
            Xml::Text(text) if in_text => texts.push(text.as_ref().to_owned()),
            Xml::Empty(tag) => assert!(tag.attributes().all(|a| a.unwrap().key.as_ref() != "id")),
            Xml::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    assert!(!drawing.svg.contains("NaN") && !drawing.svg.contains("inf"));
    texts
}

#[test]
fn drawings_are_well_formed_and_stand_alone() {
    for sheet in sheets() {
        for drawing in &sheet.drawings {
            assert!(drawing.svg.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox="));
            assert!(!texts(drawing).is_empty(), "{}", drawing.title);
            assert!(!drawing.description.is_empty());
        }
    }
}

/// Words stay inside the drawing: 26 units high, letters of a common sans-serif 0.56 of that wide.
#[test]
fn words_fit_into_the_drawings() {
    for drawing in sheets().iter().flat_map(|sheet| &sheet.drawings) {
        for part in drawing.svg.split("<text ").skip(1) {
            let place = |name: &str| {
                part.split_once(&format!("{name}=\"")).unwrap().1.split_once('"').unwrap().0
            };
            let text = part.split_once('>').unwrap().1.split_once('<').unwrap().0;
            let width = 0.56 * 26.0 * text.chars().count() as f64;
            let x: f64 = place("x").parse().unwrap();
            let left = if place("text-anchor") == "middle" { x - width / 2.0 } else { x };
            assert!(left >= 0.0 && left + width <= 640.0, "{text} from {left} to {}", left + width);
        }
    }
}

#[test]
fn a_sheet_says_what_a_crew_needs() {
    let how_much =
        HowMuch { intensity: 0.31, measured_as: MeasuredAs::Shoots, canopy_m: Some([4.5, 7.2]) };
    let sheet = input(Work::Prune(how_much)).sheet(&Catalogue::ENGLISH);
    assert_eq!(
        sheet.how_much,
        ["Cut about every third leader shoot.", "That is 31 % of what is there."]
    );
    let fact = |label: &str| &sheet.facts.iter().find(|f| f.label == label).unwrap().value;
    assert_eq!(fact("Dates"), "6 July to 14 July 2026");
    assert_eq!(fact("Cut wood, stacked"), "812 m³");
    // By hand: shares 6000, 3200 and 100 of 9300 cuts, of four people, rounded up.
    assert_eq!(sheet.tools[0], "secateurs: 3, for about 6000 cuts");
    assert_eq!(sheet.tools[2], "power saw: 1, for about 100 cuts");
    let insects = &sheet.recipes[1];
    assert!(insects.lines[0].starts_with("For 10 L of water: 6 mL of product (10 x 0.003 %"));
    assert!(insects.lines.contains(&"This block: 4000 L of spray, 2.4 L of product.".to_owned()));
    assert!(insects.lines.contains(&"Re-entry: not before 2 days after treatment.".to_owned()));
    let missing = "Interval before harvest: missing: enter the label's.";
    assert!(insects.lines.iter().any(|line| line == missing));
    assert_eq!(sheet.drawings.len(), 3);
}

/// Who is to cut nothing is not warned of hard cuts; who is to cut is.
#[test]
fn young_trees_that_are_left_are_only_said_to_be_left() {
    for trees in [1, 400] {
        let warned = |intensity| {
            let how_much =
                HowMuch { intensity, measured_as: MeasuredAs::CanopyFraction, canopy_m: None };
            let young =
                SheetInput { trees, youngest_recorded: Some(9.7), ..input(Work::Keep(how_much)) };
            young.warnings(&Catalogue::ENGLISH).join(" ")
        };
        let (left, cut) = (warned(0.0), warned(0.1));
        assert!(left.contains("(there from 9 years on)") && left.ends_with("unpruned."), "{left}");
        assert!(!left.contains("stop when in doubt"), "{left}");
        assert!(cut.ends_with("never cut more than stated here, and stop when in doubt."), "{cut}");
    }
}

#[test]
fn young_blocks_get_tasks_and_no_intensity() {
    let work = works().swap_remove(12);
    let sheet = input(work).sheet(&Catalogue::ENGLISH);
    assert_eq!(sheet.how_much, Vec::<String>::new());
    assert_eq!(
        sheet.steps[0],
        "1 of the trees: Take off every sprout of the rootstock, below the graft."
    );
    assert_eq!(sheet.drawings[0].title, "Open centre");
    let unknown = input(works().swap_remove(14)).sheet(&Catalogue::ENGLISH);
    assert!(unknown.steps.last().unwrap().starts_with("Training system missing"));
}

#[test]
fn cautions_stand_on_every_sheet_and_entry() {
    for words in CATALOGUES {
        for work in works() {
            let input = input(work);
            let sheet = input.sheet(&words);
            let entry = event(&input, &words).unwrap();
            assert_eq!((entry.start, entry.end), (date(2026, 7, 6), date(2026, 7, 14)));
            for key in [
                Key::ProtectiveEquipment,
                Key::PowerSaws,
                Key::Ladders,
                Key::LabelFirst,
                Key::Bees,
                Key::LocalRules,
            ] {
                assert!(sheet.cautions.iter().any(|caution| caution == words.text(key)), "{key:?}");
                assert!(entry.description.contains(words.text(key)), "{key:?}");
            }
        }
    }
}

#[test]
fn an_unpruned_block_is_left_alone() {
    let how_much = HowMuch { intensity: 0.0, measured_as: MeasuredAs::Shoots, canopy_m: None };
    let mut input = input(Work::Keep(how_much));
    (input.tools, input.quantities) = (Vec::new(), Vec::new());
    let sheet = input.sheet(&Catalogue::ENGLISH);
    assert_eq!(
        (sheet.work.as_str(), sheet.drawings.len(), sheet.steps.len()),
        ("No pruning", 0, 0)
    );
    assert_eq!(sheet.cautions, Vec::<String>::new());
    (input.window, input.scheduled) = (None, None);
    assert_eq!(event(&input, &Catalogue::ENGLISH), None);
}

/// Writes every drawing under the target folder, to be looked at.
#[test]
fn drawings_can_be_looked_at() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("drawings");
    std::fs::create_dir_all(&folder).unwrap();
    for (n, sheet) in sheets().iter().enumerate() {
        for (k, drawing) in sheet.drawings.iter().enumerate() {
            let path = folder.join(format!("{}-{n:02}-{k}.svg", sheet.language));
            std::fs::write(&path, &drawing.svg).unwrap();
            assert!(drawing.svg.len() < 8000, "{}", path.display());
        }
    }
}
