//! The pieces put together, against arithmetic by hand.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

use jiff::civil::date;
use records::MeasuredAs;
use std::collections::BTreeMap;
use workplan::crew_sheet::{Apart, HowMuch, InTrial, Work};
use workplan::economics::{CutWood, WorkRate};
use workplan::plan::{Plan, PlanBlock, WorkSettings, build};
use workplan::products::Product;
use workplan::text::Catalogue;
use workplan::tools::{CutRates, ToolKind};
use workplan::young::YoungBlock;

fn pruned(block: &str, site: &str) -> PlanBlock {
    let how_much =
        HowMuch { intensity: 0.25, measured_as: MeasuredAs::CanopyFraction, canopy_m: None };
    PlanBlock {
        region: "north".to_owned(),
        region_name: "North".to_owned(),
        site: site.to_owned(),
        block: block.to_owned(),
        work: Work::Prune(how_much),
        trees: 280,
        share_pruned: 1.0,
        window: Some([date(2026, 7, 1), date(2026, 7, 31)]),
        best_day: None,
        rate: Some(WorkRate { minutes_per_tree: 4.0, minutes_full_canopy: 32.0 }),
        canopy_m3: Some(60.0),
        cut_rates: Some(CutRates {
            full_canopy: [Some(60.0), Some(24.0), Some(8.0), Some(2.0)],
            trees: 50,
        }),
        ladders: true,
        wage_per_hour: 1.5,
        materials_per_tree: 0.05,
        delay_loss_per_day: Some(3.0),
        value: 200.0,
        in_trials: Vec::new(),
        apart: Apart::default(),
        ids: None,
        youngest_recorded: None,
    }
}

fn young(block: &str, site: &str) -> PlanBlock {
    let tasks = YoungBlock {
        ages_years: vec![0.5; 100],
        training: None,
        spacing_m: None,
        topping_height_m: None,
    }
    .tasks();
    PlanBlock {
        work: Work::Train { tasks, training_stated: false },
        trees: 100,
        ..pruned(block, site)
    }
}

fn plan(blocks: &[PlanBlock], settings: &str, products: &str) -> Plan {
    let settings: WorkSettings = serde_json::from_str(settings).unwrap();
    let products: BTreeMap<String, Product> = serde_json::from_str(products).unwrap();
    let wood = CutWood {
        stacked_per_canopy: 0.1,
        haulage_per_m3: 0.5,
        value_per_m3: 0.2,
        load_m3: Some(4.0),
    };
    build(blocks, &settings, &products, Some(&wood), 7.0)
}

/// By hand: 4 + 32 x 0.25 = 12 min, x 280 / 60 = 56 h = 8 person-days; wood 60 x 0.25 x 280 = 4200 m3
/// of canopy, 420 stacked; cost 56 x 1.5 + 280 x 0.05 + 420 x 0.3 = 224; large cuts 10 x 0.25 x 280 = 700,
/// x 20 mL = 14 L of paste.
#[test]
fn a_block_by_hand() {
    let products =
        r#"{"paste": {"kind": "copper_paste", "ml_per_cut": 20, "copper_sulphate_package_kg": 1}}"#;
    let plan = plan(&[pruned("n1", "a")], r#"{"crew_size": 4}"#, products);
    let block = &plan.blocks[0];
    assert!((block.minutes_per_tree.unwrap() - 12.0).abs() < 1e-9);
    assert!((block.sheet.person_days.unwrap() - 8.0).abs() < 1e-9);
    assert!((block.haul.unwrap().stacked_m3.unwrap() - 420.0).abs() < 1e-9);
    assert!((block.cost.unwrap() - 224.0).abs() < 1e-9);
    // The wage bill and what the wood is worth stand beside the cost after wood.
    let haul = block.haul.unwrap();
    let parts = [block.wages.unwrap(), block.materials, haul.cost, haul.value];
    for (part, by_hand) in parts.into_iter().zip([84.0, 14.0, 210.0, 84.0]) {
        assert!((part - by_hand).abs() < 1e-9, "{part} {by_hand}");
    }
    assert!((block.sheet.quantities[0].litres - 14.0).abs() < 1e-9);
    assert_eq!(plan.shopping[0].packages, Some(2));
    // Eight person-days of four people from Wednesday 1 July 2026.
    assert_eq!(block.sheet.scheduled, Some([date(2026, 7, 1), date(2026, 7, 2)]));
    assert_eq!(plan.missing, []);
    let entry = block.event(&Catalogue::ENGLISH).unwrap();
    assert_eq!(entry.title, "Prune: n1 (a)");
    assert_eq!(entry.id[0], "north");
    assert!(entry.description.contains("Take out about a quarter of the canopy."));
}

/// 4200 m3 of canopy as it stood are no 4200 m3 of stacked wood: without the share that is stacked no
/// sheet states a volume, and the setting is named once.
#[test]
fn canopy_as_it_stood_is_never_called_stacked_wood() {
    let settings: WorkSettings = serde_json::from_str(r#"{"crew_size": 4}"#).unwrap();
    let blocks = [pruned("n1", "a"), pruned("n2", "a")];
    let hauled = CutWood { haulage_per_m3: 0.5, load_m3: Some(4.0), ..CutWood::as_it_stood() };
    for wood in [None, Some(&hauled)] {
        let plan = build(&blocks, &settings, &BTreeMap::new(), wood, 7.0);
        let block = &plan.blocks[0];
        assert!((block.haul.unwrap().canopy_m3 - 4200.0).abs() < 1e-9);
        assert_eq!((block.sheet.stacked_m3, block.haul.unwrap().loads), (None, None));
        let sheet = block.crew_sheet(&Catalogue::ENGLISH);
        assert!(sheet.facts.iter().all(|fact| fact.label != "Cut wood, stacked"));
        let keys: Vec<_> = plan.missing.iter().map(|error| error.key.as_str()).collect();
        assert_eq!(keys, ["[economics.cut_wood] stacked_per_canopy"]);
    }
}

#[test]
fn sites_have_crews_of_their_own() {
    let settings = r#"{"crew_size": 4, "rest_dates": ["07-02"],
        "sites": {"b": {"crew_size": 8, "working_days": ["monday"]}}}"#;
    let plan = plan(&[pruned("n1", "a"), pruned("n2", "b"), pruned("n3", "a")], settings, "{}");
    let dates: Vec<_> = plan.blocks.iter().map(|block| block.sheet.scheduled.unwrap()).collect();
    assert_eq!(dates[0], [date(2026, 7, 1), date(2026, 7, 3)]);
    assert_eq!(dates[1], [date(2026, 7, 6), date(2026, 7, 6)]);
    assert_eq!(dates[2], [date(2026, 7, 4), date(2026, 7, 6)]);
    let sites: Vec<_> = plan.crews.iter().map(|crew| crew.site.as_deref()).collect();
    assert_eq!(sites, [None, Some("b")]);
    // How many sites have work of a crew: without a crew of its own, c is one more of the first.
    let of =
        |plan: &workplan::plan::Plan| plan.crews.iter().map(|crew| crew.sites).collect::<Vec<_>>();
    assert_eq!(of(&plan), [1, 1]);
    let more = [pruned("n1", "a"), pruned("n2", "b"), pruned("n3", "c")];
    assert_eq!(of(&self::plan(&more, settings, "{}")), [2, 1]);
}

#[test]
fn what_is_missing_is_named_once_and_nothing_made_up() {
    let products =
        r#"{"guard": {"kind": "insect_protection", "treats": "all", "volume_l_per_tree": 8}}"#;
    let plan = plan(&[pruned("n1", "a"), pruned("n2", "a"), young("y1", "a")], "{}", products);
    let keys: Vec<_> = plan.missing.iter().map(|error| error.key.as_str()).collect();
    assert_eq!(keys, ["[products.guard] strength_pct", "[work] crew_size"]);
    assert_eq!((plan.shopping.len(), plan.crews.len()), (0, 0));
    assert_eq!(plan.blocks[2].hours, None);
    let wrong: WorkSettings =
        serde_json::from_str(r#"{"sites": {"b": {"crew_size": -1}}, "topping_height_m": 0}"#)
            .unwrap();
    let keys: Vec<_> = wrong.check().unwrap_err().into_iter().map(|error| error.key).collect();
    assert_eq!(keys, ["[work] topping_height_m", "[work.sites.b] crew_size"]);
    assert!(serde_json::from_str::<WorkSettings>(r#"{"crew": 4}"#).is_err());
}

#[test]
fn young_and_unpruned_blocks_take_no_cutting_material() {
    let paste = r#"{"spray": {"kind": "copper_spray", "volume_l_per_tree": 8}}"#;
    let mut kept = pruned("n1", "a");
    kept.work = Work::Keep(HowMuch {
        intensity: 0.0,
        measured_as: MeasuredAs::CanopyFraction,
        canopy_m: None,
    });
    let settings = r#"{"crew_size": 2, "minutes_per_young_tree": 2.1}"#;
    let plan = plan(&[kept, young("y1", "a")], settings, paste);
    let [kept, young] = &plan.blocks[..] else { panic!("two blocks") };
    assert_eq!((kept.trees_worked, kept.sheet.tools.len(), kept.cost), (0.0, 0, Some(0.0)));
    assert!((young.hours.unwrap() - 3.5).abs() < 1e-9);
    assert!(young.sheet.quantities.is_empty());
    assert_eq!(young.sheet.scheduled.unwrap()[0], date(2026, 7, 1));
    assert_eq!(plan.shopping, []);
}

/// By hand: eight person-days of one person in six days leave a quarter undone, with a quarter of the value.
#[test]
fn a_sheet_says_what_the_window_cannot_hold() {
    let mut block = pruned("n1", "a");
    block.window = Some([date(2026, 7, 6), date(2026, 7, 11)]);
    let plan = plan(&[block], r#"{"crew_size": 1}"#, "{}");
    let sheet = plan.blocks[0].crew_sheet(&Catalogue::ENGLISH);
    let fact =
        sheet.facts.iter().find(|fact| fact.label == "Does not fit into the window").unwrap();
    assert_eq!(fact.value, "25 %");
    let alarm = plan.crews[0].schedule.alarm.as_ref().unwrap();
    assert_eq!((alarm.people_needed, alarm.drop[0].block.as_str()), (Some(2), "a / n1"));
    assert!((alarm.loss - 50.0).abs() < 1e-9);
}

#[test]
fn a_share_of_the_trees_is_said_in_the_language_of_the_crew() {
    let plan =
        plan(&[PlanBlock { share_pruned: 0.5, ..pruned("n1", "a") }], r#"{"crew_size": 4}"#, "{}");
    let sheet = plan.blocks[0].crew_sheet(&Catalogue::PORTUGUESE);
    assert_eq!(
        sheet.facts.iter().find(|fact| fact.label == "Árvores").unwrap().value,
        "140 de 280"
    );
    assert_eq!(sheet.tools[0], "tesoura de poda: 3, para cerca de 2100 cortes");
}

/// Trees of a trial are nobody's but the trial's: no trees, hours, money or product, and a sheet that
/// says so in both languages.
#[test]
fn a_block_of_trial_trees_alone_gets_no_work() {
    let of_trial = |trees: usize| {
        let ids = (1..=trees).map(|k| format!("T{k}")).collect();
        vec![InTrial { trial: "X-7".to_owned(), ids }]
    };
    let whole =
        PlanBlock { work: Work::OfTrials, trees: 0, in_trials: of_trial(24), ..pruned("n1", "a") };
    let part = PlanBlock { trees: 256, in_trials: of_trial(1), ..pruned("n2", "a") };
    let products = r#"{"guard": {"kind": "insect_protection", "treats": "all", "strength_pct": 5,
        "target_pct": 0.003, "usual_pct": 0.003, "volume_l_per_tree": 8}}"#;
    let plan = plan(&[whole, part], r#"{"crew_size": 4}"#, products);
    let [whole, part] = &plan.blocks[..] else { panic!("two blocks") };
    assert_eq!((whole.trees_worked, whole.hours, whole.cost), (0.0, None, None));
    assert!(whole.haul.is_none() && whole.sheet.quantities.is_empty());
    assert!(whole.event(&Catalogue::ENGLISH).is_none());
    let sheet = whole.crew_sheet(&Catalogue::ENGLISH);
    assert_eq!(sheet.work, "Trees of designed trials alone");
    assert!(sheet.how_much.is_empty() && sheet.steps.is_empty() && sheet.tools.is_empty());
    assert!(sheet.warnings[0].starts_with("24 trees of this block: part of trial X-7."));
    assert!(sheet.warnings[0].contains("by nobody else"));
    assert!((part.trees_worked - 256.0).abs() < 1e-9);
    let warnings = part.crew_sheet(&Catalogue::ENGLISH).warnings;
    assert!(warnings[0].starts_with("1 tree of this block"), "{warnings:?}");
    // Whoever works beside them knows which they are; where all are the trial's, no list is needed.
    assert_eq!((warnings[1].as_str(), warnings.len()), ("Trees of trial X-7: T1.", 2));
    assert_eq!(whole.crew_sheet(&Catalogue::ENGLISH).warnings.len(), 1);
    let many = PlanBlock { trees: 256, in_trials: of_trial(72), ..pruned("n3", "a") };
    let many = &self::plan(&[many], r#"{"crew_size": 4}"#, "{}").blocks[0];
    let line = &many.crew_sheet(&Catalogue::ENGLISH).warnings[1];
    assert!(line.contains("T60 and 12 more") && !line.contains("T61"), "{line}");
    let entry = part.event(&Catalogue::PORTUGUESE).unwrap();
    assert!(entry.description.contains("1 árvore deste talhão: parte do ensaio X-7."));
}

/// Every task of young trees is a cut: the sheet names hand tools and warns of ladders and saws,
/// however low the trees are recorded.
#[test]
fn sheets_of_young_trees_name_tools_and_cautions() {
    let low = PlanBlock { ladders: false, ..young("y1", "a") };
    let plan = plan(&[low], r#"{"crew_size": 4, "minutes_per_young_tree": 6}"#, "{}");
    let sheet = plan.blocks[0].crew_sheet(&Catalogue::ENGLISH);
    assert!(!sheet.steps.is_empty());
    assert_eq!(sheet.tools, ["secateurs: 4", "pruning saw: 4"]);
    for caution in ["protective equipment", "Ladders", "Power saws", "Local rules"] {
        assert!(sheet.cautions.iter().any(|said| said.contains(caution)), "{caution}");
    }
}

/// Trees on whose like nothing was tried are told with the age of the youngest on which it was.
#[test]
fn trees_younger_than_any_recorded_are_told() {
    let block = PlanBlock { youngest_recorded: Some(11.9), ..pruned("n1", "a") };
    let plan = self::plan(&[block], r#"{"crew_size": 4}"#, "{}");
    let warnings = plan.blocks[0].crew_sheet(&Catalogue::ENGLISH).warnings;
    assert!(warnings[0].contains("(there from 11 years on)"), "{warnings:?}");
    // Cuts counted on grown trees tell nothing of them: no number of cuts, and hand tools alone.
    let sheet = &plan.blocks[0].sheet;
    assert_eq!(plan.blocks[0].cuts, [None; 4]);
    assert!(!sheet.tools.is_empty());
    assert!(sheet.tools.iter().all(|need| need.kind == ToolKind::Hand && need.cuts.is_none()));
    let grown = self::plan(&[pruned("n1", "a")], r#"{"crew_size": 4}"#, "{}");
    assert!(grown.blocks[0].sheet.tools.iter().any(|need| need.kind == ToolKind::Power));
}

/// Of 23 trees 85 % are 19.55: twenty are shown, and twenty are paid, sprayed and carted away.
#[test]
fn what_is_computed_is_computed_for_the_trees_shown() {
    let block = |trees, share_pruned| PlanBlock { trees, share_pruned, ..pruned("n1", "a") };
    let products = r#"{"leafguard": {"kind": "insect_protection", "treats": "pruned",
        "strength_pct": 2.5, "target_pct": 0.005, "usual_pct": 0.005, "volume_l_per_tree": 5}}"#;
    let blocks = [block(23, 0.85), block(20, 1.0)];
    let plan = plan(&blocks, r#"{"crew_size": 4}"#, products);
    let [share, whole] = [&plan.blocks[0], &plan.blocks[1]];
    assert_eq!((share.sheet.trees, share.sheet.trees_worked), (23, 20));
    assert_eq!(share.trees_worked, 20.0);
    assert!(share.hours.is_some() && share.materials > 0.0 && !share.sheet.quantities.is_empty());
    assert_eq!((share.hours, share.materials), (whole.hours, whole.materials));
    assert_eq!(share.sheet.quantities, whole.sheet.quantities);
    assert_eq!((share.cuts, &share.haul), (whole.cuts, &whole.haul));
}

/// Days that end with the window do not mean that the work does.
#[test]
fn an_entry_of_the_calendar_tells_what_its_window_cannot_hold() {
    let held = |days| {
        let to = date(2026, 7, days);
        let block = PlanBlock { window: Some([date(2026, 7, 1), to]), ..pruned("n1", "a") };
        let plan = plan(&[block], r#"{"crew_size": 1}"#, "{}");
        let undone = plan.blocks[0].sheet.left_undone;
        let event = plan.blocks[0].event(&Catalogue::ENGLISH).unwrap();
        assert_eq!(event.title, "Prune: n1 (a)");
        (undone, event.description)
    };
    let (undone, said) = held(2);
    let told = format!("Does not fit into the window: {:.0} %.", 100.0 * undone);
    assert!(undone > 0.3 && undone < 1.0 && said.contains(&told), "{undone}: {said}");
    let (undone, said) = held(31);
    assert!(undone == 0.0 && !said.contains("Does not fit"), "{undone}: {said}");
    // A Sunday alone has no working day: nothing of the block is done, and its entry says so first.
    let sunday = [date(2026, 7, 5), date(2026, 7, 5)];
    let block = PlanBlock { window: Some(sunday), ..pruned("n1", "a") };
    let plan = plan(&[block], r#"{"crew_size": 1}"#, "{}");
    let title = plan.blocks[0].event(&Catalogue::ENGLISH).unwrap().title;
    assert_eq!(title, "Does not fit into the window · Prune: n1 (a)");
}
