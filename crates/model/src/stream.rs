//! Record batches into the engine's moments: a fit of any number of rows in memory that does not grow with them.

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::datatypes::{Float64Type, UInt32Type};
use arrow::error::ArrowError;
use mixed::{Covariance, Data, Factor, FixedColumn, Moments, RandomEffect};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::errors::ParquetError;
use std::borrow::Cow;
use std::fs::File;
use std::sync::mpsc::sync_channel;
use std::thread;
use thiserror::Error;

/// Rows per batch: under the engine's limit for splitting, so that chunks are
/// added in place.
const BATCH_ROWS: usize = 32_768;
/// Decoded batches that may wait for the engine.
const WAITING: usize = 4;

/// Which columns of a table play which part in the model.
#[derive(Debug, Clone, PartialEq)]
pub struct StreamModel {
    /// Response column (float64); a null is a missing response.
    pub response: String,
    /// Declared centre and scale of the response.
    pub response_units: (f64, f64),
    /// Column of prior weights (float64), if any.
    pub weights: Option<String>,
    /// Whether the model has an intercept.
    pub intercept: bool,
    /// Fixed columns (float64) with declared centre and scale.
    pub fixed: Vec<(String, f64, f64)>,
    /// Grouping factors.
    pub factors: Vec<StreamFactor>,
}

/// A grouping factor of a [`StreamModel`].
#[derive(Debug, Clone, PartialEq)]
pub struct StreamFactor {
    /// Column of level codes (uint32, no nulls), also its name.
    pub column: String,
    /// Number of levels; codes are below it.
    pub levels: usize,
    /// Whether each level has a shift.
    pub intercept: bool,
    /// Columns (float64) on which each level has a slope.
    pub slopes: Vec<String>,
    /// Whether the effects of a level are correlated.
    pub correlated: bool,
}

/// Why a stream ended early.
#[derive(Debug, Error)]
pub enum StreamError {
    /// The file cannot be read as Parquet.
    #[error("the Parquet file cannot be read")]
    Parquet(#[from] ParquetError),
    /// A batch cannot be decoded.
    #[error("a record batch cannot be decoded")]
    Arrow(#[from] ArrowError),
    /// A column is not there.
    #[error("column {name} is missing")]
    MissingColumn {
        /// Its name.
        name: String,
    },
    /// A column has another type than its part in the model needs.
    #[error("column {name} must be {need}")]
    WrongType {
        /// Its name.
        name: String,
        /// What it must be.
        need: &'static str,
    },
    /// The engine refuses a chunk; a row that it names counts from `first_row`.
    #[error("rows from {first_row} on (counted from 0)")]
    Engine {
        /// Row with which the chunk starts.
        first_row: u64,
        /// What is wrong.
        source: mixed::Error,
    },
    /// There was no batch.
    #[error("the stream holds no record batch")]
    Empty,
}

/// Moments of all rows of a Parquet file, decoded on a thread of its own.
///
/// # Errors
/// Unreadable files, missing columns, other types, and what
/// [`Moments::accumulate`] refuses.
pub fn moments_of_parquet(file: File, model: &StreamModel) -> Result<Moments, StreamError> {
    let builder = ParquetRecordBatchReaderBuilder::try_new(file)?;
    let names = model.columns();
    let mask = ProjectionMask::columns(builder.parquet_schema(), names.iter().copied());
    let reader = builder.with_projection(mask).with_batch_size(BATCH_ROWS).build()?;
    thread::scope(|scope| {
        let (sender, receiver) = sync_channel(WAITING);
        scope.spawn(move || {
            for batch in reader {
                // The receiver is gone after an error of its own.
                if sender.send(batch).is_err() {
                    break;
                }
            }
        });
        moments_of_batches(receiver, model)
    })
}

/// Moments of all rows of the batches.
///
/// # Errors
/// As for [`moments_of_parquet`].
pub fn moments_of_batches(
    batches: impl IntoIterator<Item = Result<RecordBatch, ArrowError>>,
    model: &StreamModel,
) -> Result<Moments, StreamError> {
    let mut moments: Option<Moments> = None;
    let mut first_row = 0;
    for batch in batches {
        let batch = batch?;
        let chunk = Chunk::new(&batch, model)?;
        let data = chunk.data(model);
        let added = match &mut moments {
            Some(moments) => moments.add(&data),
            None => Moments::accumulate(&data).map(|m| moments = Some(m)),
        };
        added.map_err(|source| StreamError::Engine { first_row, source })?;
        first_row += batch.num_rows() as u64;
    }
    moments.ok_or(StreamError::Empty)
}

impl StreamModel {
    fn columns(&self) -> Vec<&str> {
        let mut names: Vec<&str> = vec![&self.response];
        names.extend(self.weights.as_deref());
        names.extend(self.fixed.iter().map(|(name, _, _)| name.as_str()));
        for factor in &self.factors {
            names.push(&factor.column);
            names.extend(factor.slopes.iter().map(String::as_str));
        }
        names
    }
}

/// Values of a column, borrowed where it holds no null.
type Reals<'a> = Cow<'a, [f64]>;

/// Columns of one batch.
struct Chunk<'a> {
    response: Reals<'a>,
    weights: Option<Reals<'a>>,
    fixed: Vec<Reals<'a>>,
    /// Codes and slopes of each factor.
    factors: Vec<(&'a [u32], Vec<Reals<'a>>)>,
    ones: Vec<f64>,
}

impl<'a> Chunk<'a> {
    fn new(batch: &'a RecordBatch, model: &StreamModel) -> Result<Self, StreamError> {
        let reals = |name: &String| reals(batch, name);
        let factors = model.factors.iter().map(|factor| {
            let slopes = factor.slopes.iter().map(reals).collect::<Result<_, _>>()?;
            Ok((codes(batch, &factor.column)?, slopes))
        });
        Ok(Chunk {
            response: reals(&model.response)?,
            weights: model.weights.as_ref().map(reals).transpose()?,
            fixed: model.fixed.iter().map(|(n, _, _)| reals(n)).collect::<Result<_, _>>()?,
            factors: factors.collect::<Result<_, StreamError>>()?,
            ones: if model.intercept { vec![1.0; batch.num_rows()] } else { Vec::new() },
        })
    }

    fn data(&'a self, model: &StreamModel) -> Data<'a> {
        let (centre, scale) = model.response_units;
        let mut data = Data::new(&self.response).response_units(centre, scale);
        if let Some(weights) = &self.weights {
            data = data.weights(weights);
        }
        if model.intercept {
            data = data.column(FixedColumn::new("intercept", self.ones.as_slice()));
        }
        for ((name, centre, scale), values) in model.fixed.iter().zip(&self.fixed) {
            let column = FixedColumn::new(name.clone(), values.as_ref());
            data = data.column(column.units(*centre, *scale));
        }
        for (factor, (codes, slopes)) in model.factors.iter().zip(&self.factors) {
            let intercept = factor.intercept.then_some(RandomEffect::Intercept);
            let slopes = factor.slopes.iter().zip(slopes);
            let slopes =
                slopes.map(|(name, v)| RandomEffect::Slope { name: name.clone(), values: v });
            data = data.factor(Factor {
                name: factor.column.clone(),
                codes,
                levels: factor.levels,
                effects: intercept.into_iter().chain(slopes).collect(),
                covariance: if factor.correlated {
                    Covariance::Correlated
                } else {
                    Covariance::Independent
                },
            });
        }
        data
    }
}

fn column<'a>(batch: &'a RecordBatch, name: &str) -> Result<&'a ArrayRef, StreamError> {
    batch.column_by_name(name).ok_or_else(|| StreamError::MissingColumn { name: name.to_owned() })
}

/// Values of a float column; a null becomes NaN, which the engine sets aside and counts.
fn reals<'a>(batch: &'a RecordBatch, name: &str) -> Result<Reals<'a>, StreamError> {
    let array = column(batch, name)?
        .as_primitive_opt::<Float64Type>()
        .ok_or_else(|| StreamError::WrongType { name: name.to_owned(), need: "float64" })?;
    Ok(if array.null_count() == 0 {
        Cow::Borrowed(array.values())
    } else {
        Cow::Owned(array.iter().map(|x| x.unwrap_or(f64::NAN)).collect())
    })
}

fn codes<'a>(batch: &'a RecordBatch, name: &str) -> Result<&'a [u32], StreamError> {
    column(batch, name)?
        .as_primitive_opt::<UInt32Type>()
        .filter(|array| array.null_count() == 0)
        .map(|array| array.values().as_ref())
        .ok_or_else(|| StreamError::WrongType {
            name: name.to_owned(),
            need: "uint32 without nulls",
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::array::{Float64Array, UInt32Array};
    use mixed::{Settings, fit_moments};
    use parquet::arrow::ArrowWriter;
    use std::sync::Arc;

    fn batch(rows: std::ops::Range<usize>) -> RecordBatch {
        let noise = |i: usize, s: f64| ((i as f64 + 1.0) * s).sin();
        let x: Vec<f64> = rows.clone().map(|i| noise(i, 0.7)).collect();
        let y: Float64Array = rows
            .clone()
            .map(|i| {
                (i % 97 != 5).then(|| 2.0 + noise(i, 0.7) + noise(i % 40, 3.1) + noise(i, 9.7))
            })
            .collect();
        let group: Vec<u32> = rows.clone().map(|i| (i % 40) as u32).collect();
        let block: Vec<u32> = rows.map(|i| (i % 40 / 8) as u32).collect();
        RecordBatch::try_from_iter([
            ("y", Arc::new(y) as ArrayRef),
            ("x", Arc::new(Float64Array::from(x))),
            ("tree", Arc::new(UInt32Array::from(group))),
            ("block", Arc::new(UInt32Array::from(block))),
        ])
        .unwrap()
    }

    fn model() -> StreamModel {
        let factor = |column: &str, levels: usize, slopes: Vec<String>| StreamFactor {
            column: column.into(),
            levels,
            intercept: true,
            slopes,
            correlated: true,
        };
        StreamModel {
            response: "y".into(),
            response_units: (2.0, 1.0),
            weights: None,
            intercept: true,
            fixed: vec![("x".into(), 0.1, 2.0)],
            factors: vec![factor("tree", 40, Vec::new()), factor("block", 5, vec!["x".into()])],
        }
    }

    /// The stream in pieces and through a file gives the fit of the rows at once.
    #[test]
    fn pieces_and_files_give_the_fit_of_the_whole() {
        let whole = moments_of_batches([Ok(batch(0..900))], &model()).unwrap();
        let pieces = [0..100, 100..101, 101..640, 640..900].map(|r| Ok(batch(r)));
        let pieces = moments_of_batches(pieces, &model()).unwrap();
        let mut file = tempfile::tempfile().unwrap();
        let all = batch(0..900);
        let mut writer = ArrowWriter::try_new(&mut file, all.schema(), None).unwrap();
        writer.write(&all).unwrap();
        writer.close().unwrap();
        let file = moments_of_parquet(file, &model()).unwrap();
        let expected = fit_moments(&whole, &Settings::default()).unwrap();
        for moments in [pieces, file] {
            assert_eq!(moments.rows(), whole.rows());
            assert_eq!(moments.rows().dropped_total(), 10);
            let fit = fit_moments(&moments, &Settings::default()).unwrap();
            assert!((fit.criterion() - expected.criterion()).abs() < 1e-9);
            for (a, b) in fit.estimates().iter().zip(expected.estimates()) {
                assert!((a - b).abs() < 1e-9);
            }
        }
    }

    /// -2 log restricted likelihood with the n x n matrix V (Searle, Casella,
    /// McCulloch 1992, 6.6): log|V| + log|X'V^-1X| + d (1 + log(2 pi r'V^-1r / d)).
    fn textbook(rows: &[[f64; 5]], theta: &[f64]) -> f64 {
        let n = rows.len();
        let covariance = |[_, x, _, tree, block]: &[f64; 5], [_, z, _, t, b]: &[f64; 5]| {
            let mut v = 0.0;
            if tree == t {
                v += theta[0].powi(2);
            }
            if block == b {
                let (first, second) = (theta[1] + x * theta[2], theta[1] + z * theta[2]);
                v += first * second + x * z * theta[3].powi(2);
            }
            v
        };
        // V bordered by the fixed columns and the response: the Cholesky
        // factor's last rows hold what generalised least squares needs.
        let (mut l, p) = (vec![vec![0.0; n]; n + 3], 2);
        let entry = |i: usize, j: usize| match i.checked_sub(n) {
            Some(0) => 1.0,
            Some(1) => rows[j][1],
            Some(_) => rows[j][0],
            None if i == j => covariance(&rows[i], &rows[i]) + 1.0 / rows[i][2],
            None => covariance(&rows[i], &rows[j]),
        };
        for i in 0..n + 3 {
            for j in 0..n.min(i + 1) {
                let (a, b) = (&l[i], &l[j]);
                let rest = entry(i, j) - (0..j).map(|c| a[c] * b[c]).sum::<f64>();
                l[i][j] = if i == j { rest.sqrt() } else { rest / l[j][j] };
            }
        }
        let log_det: f64 = (0..n).map(|i| 2.0 * l[i][i].ln()).sum();
        let dot = |a: usize, b: usize| -> f64 {
            l[n + a].iter().zip(&l[n + b]).map(|(x, y)| x * y).sum()
        };
        let fixed = dot(0, 0) * dot(1, 1) - dot(0, 1).powi(2);
        let first = (dot(0, 2) * dot(1, 1) - dot(1, 2) * dot(0, 1)) / fixed;
        let second = (dot(1, 2) * dot(0, 0) - dot(0, 2) * dot(0, 1)) / fixed;
        let square = dot(2, 2) - first * dot(0, 2) - second * dot(1, 2);
        let d = (n - p) as f64;
        log_det + fixed.ln() + d * (1.0 + (2.0 * std::f64::consts::PI * square / d).ln())
    }

    /// Random rows, random cuts into batches, random theta: the criterion of
    /// the stream, through a file too, is the textbook's.
    #[test]
    fn streams_match_the_textbook_criterion() {
        // A linear congruential sequence (Knuth's constants), upper bits.
        let mut state = 1_u64;
        let mut uniform = move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let mut model = model();
        model.weights = Some("w".into());
        for case in 0..40 {
            let n = 50 + (20.0 * uniform()) as usize;
            let rows: Vec<[f64; 5]> = (0..n)
                .map(|_| {
                    let (tree, block) = ((40.0 * uniform()).floor(), (5.0 * uniform()).floor());
                    let x = 2.0 * uniform() - 1.0;
                    let y = 2.0 + x + (7.0 * tree).sin() + (5.0 * block).cos() + uniform();
                    [y, x, 0.5 + uniform(), tree, block]
                })
                .collect();
            let batch = |rows: &[[f64; 5]]| {
                let real = |j: usize| -> ArrayRef {
                    Arc::new(rows.iter().map(|r| Some(r[j])).collect::<Float64Array>())
                };
                let code = |j: usize| -> ArrayRef {
                    Arc::new(rows.iter().map(|r| Some(r[j] as u32)).collect::<UInt32Array>())
                };
                let columns = [real(0), real(1), real(2), code(3), code(4)];
                RecordBatch::try_from_iter(
                    ["y", "x", "w", "tree", "block"].into_iter().zip(columns),
                )
                .unwrap()
            };
            let (mut pieces, mut rest) = (Vec::new(), rows.as_slice());
            while !rest.is_empty() {
                let (piece, later) = rest.split_at((1.0 + rest.len() as f64 * uniform()) as usize);
                pieces.push(batch(piece));
                rest = later;
            }
            let moments = if case % 2 == 0 {
                moments_of_batches(pieces.into_iter().map(Ok), &model).unwrap()
            } else {
                let mut file = tempfile::tempfile().unwrap();
                let mut writer = ArrowWriter::try_new(&mut file, pieces[0].schema(), None).unwrap();
                for piece in &pieces {
                    writer.write(piece).unwrap();
                    writer.flush().unwrap();
                }
                writer.close().unwrap();
                moments_of_parquet(file, &model).unwrap()
            };
            let fit = fit_moments(&moments, &Settings::default()).unwrap();
            let theta = [uniform(), uniform(), uniform() - 0.5, uniform()];
            let (fast, slow) = (fit.criterion_at(&theta).unwrap(), textbook(&rows, &theta));
            assert!((fast - slow).abs() < 1e-9 * (1.0 + slow.abs()), "{case}: {fast} {slow}");
        }
    }

    #[test]
    fn unusable_columns_and_codes_are_named() {
        let mut other = model();
        other.fixed[0].0 = "z".into();
        let missing = moments_of_batches([Ok(batch(0..20))], &other).unwrap_err();
        assert!(matches!(missing, StreamError::MissingColumn { name } if name == "z"));
        let mut other = model();
        other.factors[0].column = "x".into();
        let wrong = moments_of_batches([Ok(batch(0..20))], &other).unwrap_err();
        assert!(matches!(wrong, StreamError::WrongType { name, .. } if name == "x"));
        let mut other = model();
        other.factors[0].levels = 30;
        let late = moments_of_batches([Ok(batch(0..20)), Ok(batch(20..60))], &other).unwrap_err();
        assert!(matches!(late, StreamError::Engine { first_row: 20, .. }), "{late:?}");
        assert!(matches!(moments_of_batches([], &model()), Err(StreamError::Empty)));
    }
}
