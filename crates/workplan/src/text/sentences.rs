//! The sentences of sheets and calendar, by key.

use super::Key;
use words::{Text, constant};

/// The sentence of a key in every language, its places still open.
#[allow(clippy::too_many_lines, reason = "one line per sentence")]
pub(super) fn sentence(key: Key) -> Text {
    match key {
        Key::ProtectiveEquipment => {
            constant!("Wear protective equipment: helmet, eye protection, gloves and sturdy shoes.")
        }
        Key::Ladders => {
            constant!(
                "Ladders: trained people only, on firm ground, never alone, never in wet or windy trees."
            )
        }
        Key::PowerSaws => {
            constant!(
                "Power saws: trained operators only, with hearing protection and saw-proof clothing, never on a ladder, never alone."
            )
        }
        Key::PoleTools => {
            constant!(
                "Long-handled tools: nobody stands below, and keep well away from power lines."
            )
        }
        Key::CleanTools => constant!("Keep blades sharp, and clean them between trees."),
        Key::Decide => {
            constant!(
                "Someone who knows the block decides for each tree. Weak, diseased or damaged trees may need less pruning or none."
            )
        }
        Key::LabelFirst => {
            constant!("Read the product label first. It comes before anything written here.")
        }
        Key::LocalRules => constant!("Local rules and licensed practice prevail."),
        Key::SprayEquipment => {
            constant!(
                "Mix and spray with gloves, eye protection, mask and long clothing. Wash afterwards. Keep children and animals away."
            )
        }
        Key::CopperMixing => {
            constant!("Mix copper in plastic vessels, never in iron, and use it the same day.")
        }
        Key::Bees => {
            constant!(
                "Poisonous to bees: do not spray open flowers or when bees fly, and warn beekeepers."
            )
        }
        Key::Water => {
            constant!(
                "Poisonous to fish: keep sprays and washings out of streams, ponds and wells. No spraying in wind."
            )
        }
        Key::ReEntry => {
            constant!(
                "Keep everyone out of treated blocks until the label's re-entry interval is over."
            )
        }
        Key::PreHarvest => {
            constant!("Keep the label's interval between the last treatment and harvest.")
        }
        Key::ReEntryDays => constant!("Re-entry: not before {days} days after treatment."),
        Key::ReEntryDay => constant!("Re-entry: not before 1 day after treatment."),
        Key::ReEntryMissing => constant!("Re-entry: missing: enter the label's."),
        Key::PreHarvestDays => constant!("Harvest: not before {days} days after treatment."),
        Key::PreHarvestDay => constant!("Harvest: not before 1 day after treatment."),
        Key::PreHarvestMissing => constant!("Interval before harvest: missing: enter the label's."),
        Key::Prune => constant!("Prune"),
        Key::Keep => constant!("Prune as at present"),
        Key::Trial => constant!("Until a trial has shown more, prune as stated"),
        Key::Train => constant!("Train young trees"),
        Key::Rest => constant!("No pruning"),
        Key::OfTrials => constant!("Trees of designed trials alone"),
        Key::OfTrial => {
            constant!(
                "{trees} of this block: part of trial {trial}. They are cut by the field sheet of that trial and by nobody else: leave them alone."
            )
        }
        Key::OfTrialOne => {
            constant!(
                "{trees} of this block: part of trial {trial}. It is cut by the field sheet of that trial and by nobody else: leave it alone."
            )
        }
        Key::TrialTrees => constant!("Trees of trial {trial}: {ids}."),
        Key::ChooseTrees => {
            constant!(
                "{worked} of the {all} trees: the plan is a share and no list. Someone who knows the block chooses them."
            )
        }
        Key::PrunedAlready => {
            constant!(
                "{trees} of this block: pruned for this harvest already, by the records. They are not counted here: leave them alone."
            )
        }
        Key::PrunedAlreadyOne => {
            constant!(
                "{trees} of this block: pruned for this harvest already, by the records. It is not counted here: leave it alone."
            )
        }
        Key::PrunedIds => constant!("Pruned already: {ids}."),
        Key::YoungerApart => {
            constant!(
                "{trees} of this block: younger than those of this sheet, which is not for them. They are not counted here: leave them alone, unless they have a sheet of their own."
            )
        }
        Key::YoungerApartOne => {
            constant!(
                "{trees} of this block: younger than those of this sheet, which is not for it. It is not counted here: leave it alone, unless it has a sheet of its own."
            )
        }
        Key::YoungerIds => constant!("Younger: {ids}."),
        Key::AndMore => constant!("{first} and {more} more"),
        Key::YoungerThanRecords => {
            constant!(
                "{trees} of this block: what is asked of grown trees was tried on hardly a tree so young in the records of this region (there from {years} years on). Nobody knows what a hard cut does to these trees: never cut more than stated here, and stop when in doubt."
            )
        }
        Key::YoungerThanRecordsOne => {
            constant!(
                "{trees} of this block: what is asked of grown trees was tried on hardly a tree so young in the records of this region (there from {years} years on). Nobody knows what a hard cut does to it: never cut more than stated here, and stop when in doubt."
            )
        }
        Key::YoungerLeft => {
            constant!(
                "{trees} of this block: what is asked of grown trees was tried on hardly a tree so young in the records of this region (there from {years} years on). Leave these trees unpruned."
            )
        }
        Key::YoungerLeftOne => {
            constant!(
                "{trees} of this block: what is asked of grown trees was tried on hardly a tree so young in the records of this region (there from {years} years on). Leave it unpruned."
            )
        }
        Key::Site => constant!("Site"),
        Key::Region => constant!("Region"),
        Key::Trees => constant!("Trees"),
        Key::TreesOf => constant!("{worked} of {all}"),
        Key::ToolSecateurs => constant!("secateurs"),
        Key::ToolPruningSaw => constant!("pruning saw"),
        Key::ToolPowerSaw => constant!("power saw"),
        Key::Window => constant!("Window"),
        Key::Dates => constant!("Dates"),
        Key::PersonDays => constant!("Person-days"),
        Key::People => constant!("People"),
        Key::CutWood => constant!("Cut wood, stacked"),
        Key::Tools => constant!("Tools"),
        Key::Cuts => constant!("Cuts expected"),
        Key::LeftUndone => constant!("Does not fit into the window"),
        Key::ToolPieces => constant!("{tool}: {pieces}, for about {cuts} cuts"),
        Key::ToolPiecesOnly => constant!("{tool}: {pieces}"),
        Key::CutEvery => constant!("Cut about every {nth} leader shoot."),
        Key::CutOfEvery => constant!("Cut about {m} of every {n} leader shoots."),
        Key::CutOneIn => constant!("Cut about 1 leader shoot in {n}."),
        Key::CanopyShare => constant!("Take out about {share} of the canopy."),
        Key::CanopyPercent => constant!("Take out only about {percent} % of the canopy."),
        Key::HeadBack => constant!("Cut each leader shoot back by about {share} of its length."),
        Key::SpreadTo => {
            constant!(
                "Bring the canopy from {height} m high and {width} m wide to about {new_height} m and {new_width} m."
            )
        }
        Key::SpreadShare => {
            constant!("Bring height and width of the canopy to about {percent} % of what they are.")
        }
        Key::Unpruned => constant!("Leave the trees unpruned."),
        Key::Percent => constant!("That is {percent} % of what is there."),
        Key::Nth2 => constant!("second"),
        Key::Nth3 => constant!("third"),
        Key::Nth4 => constant!("fourth"),
        Key::Nth5 => constant!("fifth"),
        Key::Nth6 => constant!("sixth"),
        Key::Nth8 => constant!("eighth"),
        Key::Nth10 => constant!("tenth"),
        Key::Share1Of10 => constant!("a tenth"),
        Key::Share1Of8 => constant!("an eighth"),
        Key::Share1Of6 => constant!("a sixth"),
        Key::Share1Of5 => constant!("a fifth"),
        Key::Share1Of4 => constant!("a quarter"),
        Key::Share1Of3 => constant!("a third"),
        Key::Share2Of5 => constant!("two fifths"),
        Key::Share1Of2 => constant!("half"),
        Key::Share3Of5 => constant!("three fifths"),
        Key::Share2Of3 => constant!("two thirds"),
        Key::Share3Of4 => constant!("three quarters"),
        Key::Share4Of5 => constant!("four fifths"),
        Key::Share9Of10 => constant!("nine tenths"),
        Key::WhereLateral => {
            constant!("Cut just above a lateral shoot, slanting away from it. Leave no stubs.")
        }
        Key::WhereCollar => {
            constant!("Cut big limbs in three cuts, the last one at the collar, not into it.")
        }
        Key::WhereSpread => {
            constant!(
                "Spread the cuts over the whole tree. Dead, broken and crossing wood goes first."
            )
        }
        Key::TaskSprouts => constant!("Take off every sprout of the rootstock, below the graft."),
        Key::TaskLower => constant!("Take off branches low on the stem, and water shoots."),
        Key::TaskPinch => constant!("Pinch the leader when it reaches {height} cm."),
        Key::TaskScaffolds => {
            constant!(
                "Keep {count} strong branches, well spaced around the stem. Take off the others that compete."
            )
        }
        Key::TaskTop => constant!("Top the leader when it reaches {height} m."),
        Key::TaskTopRange => {
            constant!(
                "Top the leader between {low} and {high} m, higher where trees stand wider apart (spacing missing: enter the block's)."
            )
        }
        Key::TaskTrees => constant!("{trees} of the trees: {task}"),
        Key::TrainingMissing => {
            constant!(
                "Training system missing: enter the block's. Only the tasks of every system are listed."
            )
        }
        Key::PasteTitle => constant!("Copper paste, 10 %, for large cut ends"),
        Key::SprayTitle => constant!("Copper spray, 1 %, for pruned shoots"),
        Key::InsectTitle => constant!("Insect protection: {product}"),
        Key::PasteBatch => {
            constant!(
                "For 10 L: {copper} kg copper sulphate and {lime} kg hydrated lime in 10 L of water."
            )
        }
        Key::SprayBatch => {
            constant!(
                "For 100 L: {copper} kg copper sulphate and {lime} kg hydrated lime in 100 L of water."
            )
        }
        Key::InsectBatch => {
            constant!(
                "For 10 L of water: {ml} mL of product (10 x {target} % / ({strength} % / 100) = {ml_per_l} mL per L)."
            )
        }
        Key::CopperTotal => {
            constant!(
                "This block: {litres} L, from {copper} kg copper sulphate and {lime} kg hydrated lime."
            )
        }
        Key::InsectTotal => constant!("This block: {litres} L of spray, {product_l} L of product."),
        Key::InsectWhen => {
            constant!(
                "When: as the label and local advice say. The plan sets no dates, hours or price for spraying."
            )
        }
        Key::Applications => constant!("Applications: {times}; the amounts are for all of them."),
        Key::DrawCanopyTitle => constant!("How much"),
        Key::DrawCanopyOff => constant!("grey: comes off"),
        Key::DrawCanopyStays => constant!("white: stays"),
        Key::DrawShootsOff => constant!("dashed shoots: cut"),
        Key::DrawHeadTitle => constant!("How far back"),
        Key::DrawLateralTitle => constant!("Where to cut a shoot"),
        Key::DrawCutHere => constant!("cut here, slanting"),
        Key::DrawLateral => constant!("lateral shoot"),
        Key::DrawNoStub => constant!("no stubs"),
        Key::DrawCollarTitle => constant!("Where to cut a big limb"),
        Key::DrawUnderCut => constant!("1 from below"),
        Key::DrawTopCut => constant!("2 from above"),
        Key::DrawCollarCut => constant!("3 at the collar"),
        Key::DrawOpenTitle => constant!("Open centre"),
        Key::DrawPinch => constant!("pinch at {height} cm"),
        Key::DrawScaffolds => constant!("keep {count} branches"),
        Key::DrawLeaderTitle => constant!("Modified leader"),
        Key::DrawTop => constant!("top at {height} m"),
        Key::DrawOffLow => constant!("low branches off"),
        Key::DrawOffSprouts => constant!("sprouts off"),
        Key::EventTitle => constant!("{work}: {block} ({site})"),
        Key::EventTrees => constant!("Trees: {trees}."),
        Key::EventPersonDays => constant!("Person-days: {days}."),
    }
}
