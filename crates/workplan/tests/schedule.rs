//! Schedules against rules known in closed form.

use jiff::ToSpan;
use jiff::civil::{Date, date};
use proptest::prelude::*;
use workplan::schedule::{BlockWork, Crew, RestDate, WorkDay, schedule};

const EVERY_DAY: [WorkDay; 7] = [
    WorkDay::Monday,
    WorkDay::Tuesday,
    WorkDay::Wednesday,
    WorkDay::Thursday,
    WorkDay::Friday,
    WorkDay::Saturday,
    WorkDay::Sunday,
];

fn crew(crew_size: f64) -> Crew {
    Crew { crew_size, working_days: EVERY_DAY.to_vec(), rest_dates: Vec::new() }
}

fn block(name: &str, person_days: f64, window: [Date; 2], delay: f64, value: f64) -> BlockWork {
    BlockWork {
        block: name.to_owned(),
        person_days,
        window,
        best_day: None,
        delay_loss_per_day: delay,
        value,
    }
}

fn july(day: i8) -> Date {
    date(2026, 7, day)
}

/// Smith (1956): loss per person-day 10, 4 and 3 put c before b before a, though b's total is highest.
#[test]
fn without_tight_windows_the_order_is_smiths() {
    let window = [july(1), july(31)];
    let blocks = [
        block("a", 4.0, window, 12.0, 100.0),
        block("b", 10.0, window, 40.0, 100.0),
        block("c", 2.0, window, 20.0, 100.0),
    ];
    let found = schedule(&blocks, &crew(2.0)).unwrap();
    let dates: Vec<_> = found.blocks.iter().map(|b| (b.start.unwrap(), b.end.unwrap())).collect();
    assert_eq!(dates, [(july(7), july(8)), (july(2), july(6)), (july(1), july(1))]);
    // Loss by hand: a 3 x 2 x (6 + 7), b 4 x 2 x (1 + 2 + 3 + 4 + 5), c none.
    assert!((found.delay_loss - (78.0 + 120.0)).abs() < 1e-9);
    assert_eq!(found.alarm, None);
}

/// Work lies around the day that is expected to be best, blocks following each other; where the window
/// closes before it is done, it begins earlier.
#[test]
fn work_lies_around_the_best_day() {
    let at = |name: &str, person_days, window, best| BlockWork {
        best_day: Some(july(best)),
        ..block(name, person_days, window, 5.0, 9.0)
    };
    let days = |blocks: &[BlockWork]| -> Vec<(i8, i8)> {
        let found = schedule(blocks, &crew(2.0)).unwrap();
        assert_eq!(found.alarm, None);
        found.blocks.iter().map(|b| (b.start.unwrap().day(), b.end.unwrap().day())).collect()
    };
    let wide = [july(1), july(31)];
    let two = [at("a", 6.0, wide, 16), at("b", 6.0, wide, 16)];
    assert_eq!(days(&two), [(13, 15), (16, 18)]);
    // Blocks of other best days have dates of their own.
    let other = [at("a", 6.0, wide, 16), at("b", 2.0, wide, 25)];
    assert_eq!(days(&other), [(15, 17), (25, 25)]);
    let narrow = [at("a", 12.0, [july(10), july(17)], 16)];
    assert_eq!(days(&narrow), [(12, 17)]);
    // By hand: 2 person-days on each of 13 to 15 and 16 to 18 July, 5/6 a person-day and day apart.
    let found = schedule(&two, &crew(2.0)).unwrap();
    assert!((found.delay_loss - 5.0 / 6.0 * 2.0 * 9.0).abs() < 1e-9);
}

/// A dearer block opens on 3 July, when the first is half done: the crew finishes the first, as the window of
/// the second holds it afterwards too, and leaves it where that window closes.
#[test]
fn a_crew_finishes_a_block_before_the_next() {
    let dates = |to: i8| {
        let blocks = [
            block("a", 8.0, [july(1), july(31)], 1.0, 9.0),
            block("b", 4.0, [july(3), july(to)], 9.0, 9.0),
        ];
        let found = schedule(&blocks, &crew(2.0)).unwrap();
        assert_eq!(found.alarm, None);
        let days = |b: &workplan::schedule::Scheduled| {
            (b.start.unwrap().day(), b.end.unwrap().day(), b.days)
        };
        (days(&found.blocks[0]), days(&found.blocks[1]))
    };
    assert_eq!(dates(31), ((1, 4, 4), (5, 6, 2)));
    assert_eq!(dates(4), ((1, 6, 4), (3, 4, 2)));
}

#[test]
fn rest_days_are_free_of_work_and_equal_blocks_follow_each_other() {
    let mut crew = Crew { working_days: EVERY_DAY[..6].to_vec(), ..crew(1.0) };
    crew.rest_dates = vec![RestDate::Once(july(3))];
    let window = [july(1), july(20)];
    let blocks: Vec<_> = ["a", "b", "c"].map(|name| block(name, 2.0, window, 5.0, 9.0)).to_vec();
    let found = schedule(&blocks, &crew).unwrap();
    let dates: Vec<_> = found.blocks.iter().map(|b| (b.start.unwrap(), b.end.unwrap())).collect();
    // 5 July 2026 is a Sunday.
    assert_eq!(dates, [(july(1), july(2)), (july(4), july(6)), (july(7), july(8))]);
    assert!(found.days.iter().all(|day| crew.works_on(day.date)));
}

#[test]
fn a_short_window_drops_the_least_loss_per_person_day() {
    let window = [july(1), july(5)];
    let blocks = [
        block("dear", 4.0, window, 1.0, 400.0),
        block("cheap", 4.0, window, 9.0, 40.0),
        block("late", 3.0, [july(6), july(9)], 1.0, 1.0),
    ];
    let found = schedule(&blocks, &crew(1.0)).unwrap();
    let alarm = found.alarm.unwrap();
    assert_eq!((alarm.from, alarm.to, alarm.needed, alarm.available), (july(1), july(5), 8.0, 5.0));
    assert_eq!(alarm.people_needed, Some(2));
    assert_eq!(alarm.drop.len(), 1);
    let drop = &alarm.drop[0];
    assert_eq!((drop.block.as_str(), drop.person_days, drop.share), ("cheap", 3.0, 0.75));
    assert!((alarm.loss - 30.0).abs() < 1e-9);
    // What is done of the urgent block comes first all the same.
    assert_eq!((found.blocks[1].start, found.blocks[0].start), (Some(july(1)), Some(july(2))));
}

#[test]
fn what_cannot_be_right_names_key_and_remedy() {
    let wrong = [block("n1", 1.0, [july(5), july(1)], 1.0, 1.0)];
    let error = schedule(&wrong, &crew(1.0)).unwrap_err();
    assert!(error.to_string().contains("block n1: its window ends 2026-07-01"), "{error}");
    let wrong = [block("n1", f64::NAN, [july(1), july(5)], 1.0, 1.0)];
    assert!(schedule(&wrong, &crew(1.0)).is_err());
    assert_eq!(schedule(&[], &crew(1.0)).unwrap().days, []);
}

proptest! {
    /// Hall's condition, found span by span, against the flow: the crew it asks for is just enough.
    #[test]
    fn the_crew_asked_for_is_the_smallest(
        rough in prop::collection::vec((1_u8..40, 0_i64..20, 0_i64..12, 0_u8..5, 1_u8..9), 1..9),
    ) {
        let blocks: Vec<BlockWork> = rough
            .iter()
            .map(|&(tenths, from, length, delay, value)| {
                let from = july(1) + from.days();
                let window = [from, from + length.days()];
                block("b", f64::from(tenths) / 10.0, window, f64::from(delay), f64::from(value))
            })
            .collect();
        let alone = schedule(&blocks, &crew(0.1)).unwrap();
        let placed: f64 = alone.blocks.iter().map(|b| b.person_days).sum();
        let dropped: f64 = alone.alarm.iter().flat_map(|a| &a.drop).map(|d| d.person_days).sum();
        let all: f64 = blocks.iter().map(|b| b.person_days).sum();
        prop_assert!((placed + dropped - all).abs() < 1e-9);
        if let Some(people) = alone.alarm.and_then(|alarm| alarm.people_needed) {
            prop_assert!(schedule(&blocks, &crew(people as f64)).unwrap().alarm.is_none());
            if people > 1 {
                prop_assert!(schedule(&blocks, &crew(people as f64 - 1.0)).unwrap().alarm.is_some());
            }
        }
    }
}

/// Three hundred blocks take about 0.3 s unoptimised; a minute would mean that the method changed.
#[test]
fn hundreds_of_blocks_are_scheduled_at_once() {
    let blocks: Vec<BlockWork> = (0..300)
        .map(|k| {
            let from = date(2026, 6, 1) + (k % 6 * 7).days();
            let work = 2.0 + (k * 37 % 11) as f64;
            let value = work * (k % 5) as f64;
            block(&format!("b{k}"), work, [from, from + 60.days()], (k * 13 % 7) as f64, value)
        })
        .collect();
    let begun = std::time::Instant::now();
    let found = schedule(&blocks, &crew(18.0)).unwrap();
    assert!(begun.elapsed().as_secs() < 60);
    let placed: f64 = found.blocks.iter().map(|b| b.person_days).sum();
    let dropped: f64 = found.alarm.unwrap().drop.iter().map(|d| d.person_days).sum();
    assert!((placed + dropped - blocks.iter().map(|b| b.person_days).sum::<f64>()).abs() < 1e-6);
}

/// By hand: losses of 14 and 28 after 14 and 28 days are 1 a day and tree; a gain is no loss, and
/// what was never done so late is not told.
#[test]
fn a_delay_that_no_record_shows_has_no_loss_not_a_loss_of_nothing() {
    let per_day = |losses: &[(f64, f64)]| workplan::schedule::delay_loss_per_day(losses, 10.0);
    assert!((per_day(&[(14.0, 14.0), (28.0, 28.0)]).unwrap() - 10.0).abs() < 1e-9);
    assert_eq!(per_day(&[(14.0, -3.0)]), Some(0.0));
    assert_eq!(per_day(&[]), None);
}
