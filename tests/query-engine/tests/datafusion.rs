//! The fit of the sums that DataFusion gives is the fit of the rows.

use arrow::array::RecordBatch;
use mixed::Settings;
use model::{IntensityShape, Scale, SumsError, YieldSettings};
use query_engine::{Plan, batch_of, declare, largest_differences, simulated, sums};
use records::ResponseScale;
use std::path::Path;

/// Doubles hold 16 digits; the design's own columns lose a few to one another.
const LIMIT: f64 = 1e-10;

fn settings(scale: ResponseScale) -> YieldSettings {
    YieldSettings { scale, draws: 0, seed: 1, level: 0.9 }
}

fn wait<T>(work: impl std::future::Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread().build().unwrap().block_on(work)
}

fn equal(
    batch: &RecordBatch,
    scale: ResponseScale,
    files: usize,
) -> (Scale, IntensityShape, usize) {
    let declared = declare(batch, &settings(scale)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let lines = wait(sums(&declared, batch, files, folder.path())).unwrap();
    let fit = declared.model.fit(&lines, &Settings::default()).unwrap();
    assert_eq!(fit.n_rows(), declared.fit.n_rows());
    assert_eq!(fit.status(), declared.fit.status());
    for (what, apart) in largest_differences(&fit, &declared.fit) {
        // Written so that NaN fails.
        assert!(apart <= LIMIT, "{what}: {apart:e}");
        println!("{what} {apart:.1e}");
    }
    (declared.model.scale, declared.model.family, declared.model.loadings.len())
}

#[test]
fn the_demo_book_in_seven_files() {
    let path = Path::new("../../reports/sample/tree_seasons.parquet");
    equal(&batch_of(path).unwrap(), ResponseScale::Auto, 7);
}

#[test]
fn simulated_books_of_every_scale_family_and_number_of_regions() {
    let mut families = Vec::new();
    let mut carried = 1;
    for (seed, regions, seasons, plateau, scale) in [
        (1, 3, 5, false, ResponseScale::Log),
        (2, 2, 4, false, ResponseScale::SquareRoot),
        (3, 1, 4, false, ResponseScale::Identity),
        (4, 3, 2, false, ResponseScale::Auto),
        (5, 1, 5, true, ResponseScale::Log),
    ] {
        let trees = if plateau { 400 } else { 90 * regions };
        let batch = simulated(Plan { seed, regions, trees, seasons, zeros: false, plateau });
        let batch = batch.unwrap();
        let (_, family, loadings) = equal(&batch, scale, 1 + seed as usize);
        families.push(family);
        carried = carried.max(loadings);
    }
    // Trees whose rows carry a part of their effect are among them.
    assert!(carried > 1);
    assert!(IntensityShape::ALL.iter().all(|family| families.contains(family)), "{families:?}");
}

/// The design of half of the trees, and sums of all: the answer is near that of all rows, and the
/// number of rows is that of all.
#[test]
fn a_sample_settles_the_design_and_all_rows_are_summed() {
    let all = Plan { seed: 5, regions: 2, trees: 240, seasons: 4, zeros: false, plateau: false };
    let all = simulated(all).unwrap();
    let half = all.slice(0, all.num_rows() / 2);
    let declared = declare(&half, &settings(ResponseScale::Log)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let lines = wait(sums(&declared, &all, 3, folder.path())).unwrap();
    let fit = declared.model.fit(&lines, &Settings::default()).unwrap();
    let whole = declare(&all, &settings(ResponseScale::Log)).unwrap();
    assert_eq!(fit.n_rows(), whole.fit.n_rows());
    assert!(fit.n_rows() > declared.model.rows * 3 / 2);
    let hump = |fit: &mixed::Fit| {
        let place = fit.coefficient_names().iter().position(|name| name == "hump").unwrap();
        (fit.estimates()[place], fit.covariance()[(place, place)].sqrt())
    };
    let ((a, _), (b, error)) = (hump(&fit), hump(&whole.fit));
    assert!((a - b).abs() < 2.0 * error, "{a} {b} {error}");
}

/// Rows that the design cannot take are refused, not guessed; sums of other queries too.
#[test]
fn what_the_design_does_not_know_is_refused() {
    let all = Plan { seed: 6, regions: 3, trees: 200, seasons: 3, zeros: true, plateau: false };
    let all = simulated(all).unwrap();
    let regions: Vec<bool> = {
        use arrow::array::AsArray;
        let region = all.column_by_name("region").unwrap().as_string::<i32>();
        region.iter().map(|label| label != Some("delta")).collect()
    };
    let some = arrow::compute::filter_record_batch(&all, &regions.into()).unwrap();
    let declared = declare(&some, &settings(ResponseScale::SquareRoot)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let lines = wait(sums(&declared, &all, 2, folder.path())).unwrap();
    let refused = declared.model.fit(&lines, &Settings::default()).unwrap_err();
    assert!(matches!(refused, SumsError::UnknownLabel { rows } if rows > 100), "{refused}");
    let other = declare(&all, &settings(ResponseScale::Identity)).unwrap();
    let refused = other.model.fit(&lines, &Settings::default()).unwrap_err();
    assert!(matches!(refused, SumsError::OtherDesign { .. }), "{refused}");
    let missing = declared.model.fit(&lines[..3], &Settings::default());
    assert!(missing.is_err());
}
