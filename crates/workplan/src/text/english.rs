//! The sentences in English.

use super::{Catalogue, Key};

pub(super) const CATALOGUE: Catalogue = Catalogue {
    language: "en",
    decimal_mark: '.',
    months: [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ],
    of: " ",
    to: " to ",
    text,
};

fn text(key: Key) -> &'static str {
    match key {
        Key::ProtectiveEquipment => {
            "Wear protective equipment: helmet, eye protection, gloves and sturdy shoes."
        }
        Key::Ladders => {
            "Ladders: trained people only, on firm ground, never alone, never in wet or windy trees."
        }
        Key::PowerSaws => {
            "Power saws: trained operators only, with hearing protection and saw-proof clothing, never on a ladder, never alone."
        }
        Key::PoleTools => {
            "Long-handled tools: nobody stands below, and keep well away from power lines."
        }
        Key::CleanTools => "Keep blades sharp, and clean them between trees.",
        Key::Decide => {
            "Someone who knows the block decides for each tree. Weak, diseased or damaged trees may need less pruning or none."
        }
        Key::LabelFirst => "Read the product label first. It comes before anything written here.",
        Key::LocalRules => "Local rules and licensed practice prevail.",
        Key::SprayEquipment => {
            "Mix and spray with gloves, eye protection, mask and long clothing. Wash afterwards. Keep children and animals away."
        }
        Key::CopperMixing => {
            "Mix copper in plastic vessels, never in iron, and use it the same day."
        }
        Key::Bees => {
            "Poisonous to bees: do not spray open flowers or when bees fly, and warn beekeepers."
        }
        Key::Water => {
            "Poisonous to fish: keep sprays and washings out of streams, ponds and wells. No spraying in wind."
        }
        Key::ReEntry => {
            "Keep everyone out of treated blocks until the label's re-entry interval is over."
        }
        Key::PreHarvest => "Keep the label's interval between the last treatment and harvest.",
        Key::ReEntryDays => "Re-entry: days after treatment: {days}.",
        Key::ReEntryMissing => "Re-entry: missing: enter the label's.",
        Key::PreHarvestDays => "Harvest: not before {days} days after treatment.",
        Key::PreHarvestMissing => "Interval before harvest: missing: enter the label's.",
        Key::Prune => "Prune",
        Key::Keep => "Prune as at present",
        Key::Trial => "Trial block: until the trial is laid out, prune as stated",
        Key::Train => "Train young trees",
        Key::Rest => "No pruning",
        Key::Site => "Site",
        Key::Region => "Region",
        Key::Trees => "Trees",
        Key::TreesOf => "{worked} of {all}",
        Key::ToolSecateurs => "secateurs",
        Key::ToolPruningSaw => "pruning saw",
        Key::ToolPowerSaw => "power saw",
        Key::Window => "Window",
        Key::Dates => "Dates",
        Key::PersonDays => "Person-days",
        Key::People => "People",
        Key::CutWood => "Cut wood, stacked",
        Key::Tools => "Tools",
        Key::Cuts => "Cuts expected",
        Key::LeftUndone => "Does not fit into the window",
        Key::ToolPieces => "{tool}: {pieces}, for about {cuts} cuts",
        Key::ToolPiecesOnly => "{tool}: {pieces}",
        Key::CutEvery => "Cut about every {nth} leader shoot.",
        Key::CutOfEvery => "Cut about {m} of every {n} leader shoots.",
        Key::CutOneIn => "Cut about 1 leader shoot in {n}.",
        Key::CanopyShare => "Take out about {share} of the canopy.",
        Key::CanopyPercent => "Take out only about {percent} % of the canopy.",
        Key::HeadBack => "Cut each leader shoot back by about {share} of its length.",
        Key::SpreadTo => {
            "Bring the canopy from {height} m high and {width} m wide to about {new_height} m and {new_width} m."
        }
        Key::SpreadShare => {
            "Bring height and width of the canopy to about {percent} % of what they are."
        }
        Key::Unpruned => "Leave the trees unpruned.",
        Key::Percent => "That is {percent} % of what is there.",
        Key::Nth2 => "second",
        Key::Nth3 => "third",
        Key::Nth4 => "fourth",
        Key::Nth5 => "fifth",
        Key::Nth6 => "sixth",
        Key::Nth8 => "eighth",
        Key::Nth10 => "tenth",
        Key::Share1Of10 => "a tenth",
        Key::Share1Of8 => "an eighth",
        Key::Share1Of6 => "a sixth",
        Key::Share1Of5 => "a fifth",
        Key::Share1Of4 => "a quarter",
        Key::Share1Of3 => "a third",
        Key::Share2Of5 => "two fifths",
        Key::Share1Of2 => "half",
        Key::Share3Of5 => "three fifths",
        Key::Share2Of3 => "two thirds",
        Key::Share3Of4 => "three quarters",
        Key::Share4Of5 => "four fifths",
        Key::Share9Of10 => "nine tenths",
        Key::WhereLateral => {
            "Cut just above a lateral shoot, slanting away from it. Leave no stubs."
        }
        Key::WhereCollar => "Cut big limbs in three cuts, the last one at the collar, not into it.",
        Key::WhereSpread => {
            "Spread the cuts over the whole tree. Dead, broken and crossing wood goes first."
        }
        Key::TaskSprouts => "Take off every sprout of the rootstock, below the graft.",
        Key::TaskLower => "Take off branches low on the stem, and water shoots.",
        Key::TaskPinch => "Pinch the leader when it reaches {height} cm.",
        Key::TaskScaffolds => {
            "Keep {count} strong branches, well spaced around the stem. Take off the others that compete."
        }
        Key::TaskTop => "Top the leader when it reaches {height} m.",
        Key::TaskTopRange => {
            "Top the leader between {low} and {high} m, higher where trees stand wider apart (spacing missing: enter the block's)."
        }
        Key::TaskTrees => "{trees} of the trees: {task}",
        Key::TrainingMissing => {
            "Training system missing: enter the block's. Only the tasks of every system are listed."
        }
        Key::PasteTitle => "Copper paste, 10 %, for large cut ends",
        Key::SprayTitle => "Copper spray, 1 %, for pruned shoots",
        Key::InsectTitle => "Insect protection: {product}",
        Key::PasteBatch => {
            "For 10 L: {copper} kg copper sulphate and {lime} kg hydrated lime in 10 L of water."
        }
        Key::SprayBatch => {
            "For 100 L: {copper} kg copper sulphate and {lime} kg hydrated lime in 100 L of water."
        }
        Key::InsectBatch => {
            "For 10 L of water: {ml} mL of product (10 x {target} % / ({strength} % / 100) = {ml_per_l} mL per L)."
        }
        Key::CopperTotal => {
            "This block: {litres} L, from {copper} kg copper sulphate and {lime} kg hydrated lime."
        }
        Key::InsectTotal => "This block: {litres} L of spray, {product_l} L of product.",
        Key::Applications => "Applications: {times}; the amounts are for all of them.",
        Key::DrawCanopyTitle => "How much",
        Key::DrawCanopyOff => "grey: comes off",
        Key::DrawCanopyStays => "white: stays",
        Key::DrawShootsOff => "dashed shoots: cut",
        Key::DrawHeadTitle => "How far back",
        Key::DrawLateralTitle => "Where to cut a shoot",
        Key::DrawCutHere => "cut here, slanting",
        Key::DrawLateral => "lateral shoot",
        Key::DrawNoStub => "no stubs",
        Key::DrawCollarTitle => "Where to cut a big limb",
        Key::DrawUnderCut => "1 from below",
        Key::DrawTopCut => "2 from above",
        Key::DrawCollarCut => "3 at the collar",
        Key::DrawOpenTitle => "Open centre",
        Key::DrawPinch => "pinch at {height} cm",
        Key::DrawScaffolds => "keep {count} branches",
        Key::DrawLeaderTitle => "Modified leader",
        Key::DrawTop => "top at {height} m",
        Key::DrawOffLow => "low branches off",
        Key::DrawOffSprouts => "sprouts off",
        Key::EventTitle => "{work}: {block} ({site})",
        Key::EventTrees => "Trees: {trees}.",
        Key::EventPersonDays => "Person-days: {days}.",
    }
}
