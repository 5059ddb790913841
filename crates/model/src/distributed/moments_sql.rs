//! The query that sums a model's columns: over rows, and over trees with the same number of rows.

use super::declared::DeclaredModel;
use super::expression::{MOST_SUMS, number, part};
use super::rows_sql::Counts;
use super::sums::count;

/// A grouping factor that is not pooled, as the query sees it.
struct Other {
    /// Its place among the factors.
    place: usize,
    /// Values of its effects in a row.
    effects: Vec<String>,
}

/// Sums that come from one SELECT, as lines of the table.
struct Block {
    kind: &'static str,
    /// Whether the sums are by design of the pooled groups.
    by_design: bool,
    /// Place of the first and of the second factor, each with the column of its level.
    factors: [Option<(usize, String)>; 2],
    /// Sums, in the order of cells.
    sums: Vec<String>,
    from: String,
}

/// The whole query.
pub(super) fn query(model: &DeclaredModel, counts: &Counts) -> String {
    let width = model.fixed.len() + 1;
    let others = others(model);
    let row = |j: usize| format!("w{j}");
    let mut parts = vec![
        "r_digits(d) AS (\n  VALUES (0), (1), (2), (3), (4), (5), (6), (7), (8), (9)\n)".to_owned(),
        part(
            "r_numbers",
            "SELECT a.d + 10 * b.d + 100 * c.d AS n\nFROM r_digits AS a CROSS JOIN r_digits AS b CROSS JOIN r_digits AS c",
        ),
        part("r_groups", &groups(width)),
    ];
    for other in &others {
        parts.push(part(&format!("r_met{}", other.place), &met(other)));
    }
    let mut blocks = counted(model, counts);
    blocks.push(Block {
        kind: "sum",
        by_design: false,
        factors: [None, None],
        sums: triangle(width, row),
        from: "model_rows".to_owned(),
    });
    blocks.push(Block {
        kind: "pooled",
        by_design: true,
        factors: [None, None],
        sums: triangle(width, |j| format!("t{j}")),
        from: "r_groups".to_owned(),
    });
    for (at, a) in others.iter().enumerate() {
        let label = format!("v{}", a.place);
        let products = |left: &[String], right: &[String]| -> Vec<String> {
            left.iter().flat_map(|x| right.iter().map(move |y| format!("SUM({x} * {y})"))).collect()
        };
        let dense =
            |prefix: &str| -> Vec<String> { (0..width).map(|j| format!("{prefix}{j}")).collect() };
        let sums_of = |other: &Other, alias: &str| -> Vec<String> {
            (0..other.effects.len()).map(|e| format!("{alias}.s{e}")).collect()
        };
        blocks.push(Block {
            kind: "sum",
            by_design: false,
            factors: [Some((a.place, label.clone())), None],
            sums: products(&a.effects, &dense("w")),
            from: "model_rows".to_owned(),
        });
        blocks.push(Block {
            kind: "pooled",
            by_design: true,
            factors: [Some((a.place, "a.label".to_owned())), None],
            sums: products(&sums_of(a, "a"), &dense("t")),
            from: format!("r_met{} AS a JOIN r_groups ON a.met = grp", a.place),
        });
        for b in &others[at..] {
            let other_label = format!("v{}", b.place);
            blocks.push(Block {
                kind: "sum",
                by_design: false,
                factors: [Some((a.place, label.clone())), Some((b.place, other_label))],
                sums: products(&a.effects, &b.effects),
                from: "model_rows".to_owned(),
            });
            blocks.push(Block {
                kind: "pooled",
                by_design: true,
                factors: [
                    Some((a.place, "a.label".to_owned())),
                    Some((b.place, "b.label".to_owned())),
                ],
                sums: products(&sums_of(a, "a"), &sums_of(b, "b")),
                from: format!(
                    "r_met{} AS a JOIN r_met{} AS b ON a.met = b.met JOIN r_groups ON a.met = grp",
                    a.place, b.place
                ),
            });
        }
    }
    let selects: Vec<String> = blocks.iter().flat_map(Block::selects).collect();
    format!(
        "-- Sums of the yield model as one small table, from model_rows (the result of rows.sql) and\n\
         -- tree_seasons. Save the result as Parquet or CSV for anacurve fit-moments.\n\
         WITH\n{}\n{}\n",
        parts.join(",\n"),
        selects.join("\nUNION ALL\n")
    )
}

fn others(model: &DeclaredModel) -> Vec<Other> {
    let factors = model.factors.iter().enumerate();
    factors
        .filter(|(_, factor)| factor.name != model.pooled)
        .map(|(place, factor)| Other {
            place,
            effects: if factor.independent {
                (0..factor.effects.len()).map(|e| format!("z{place}_{e}")).collect()
            } else {
                vec!["1e0".to_owned()]
            },
        })
        .collect()
}

/// Sums of the products of every column with itself and the ones before.
fn triangle(width: usize, column: impl Fn(usize) -> String) -> Vec<String> {
    let pairs = (0..width).flat_map(|i| (0..=i).map(move |j| (i, j)));
    pairs.map(|(i, j)| format!("SUM({} * {})", column(i), column(j))).collect()
}

/// A pooled group's rows and its sums with every column. Groups whose rows carry all of the effect
/// and a part of it alike share a design.
fn groups(width: usize) -> String {
    let sums: String = (0..width).map(|j| format!(",\n  SUM(load_share * w{j}) AS t{j}")).collect();
    format!(
        "SELECT grp,\n  SUM(CASE WHEN load_class = 0 THEN 1e0 ELSE 0e0 END) AS n_whole,\n  \
         SUM(CASE WHEN load_class = 0 THEN 0e0 ELSE 1e0 END) AS n_part,\n  \
         MAX(load_class) AS part_class,\n  \
         MIN(CASE WHEN load_class = 0 THEN 1000000 ELSE load_class END) AS first_class{sums}\n\
         FROM model_rows\nGROUP BY grp"
    )
}

/// A pooled group's sums with the effects of another factor's levels.
fn met(other: &Other) -> String {
    let sums: Vec<String> = other
        .effects
        .iter()
        .enumerate()
        .map(|(e, z)| format!("SUM(load_share * {z}) AS s{e}"))
        .collect();
    format!(
        "SELECT grp AS met, v{0} AS label, {1}\nFROM model_rows\nGROUP BY grp, v{0}",
        other.place,
        sums.join(", ")
    )
}

/// Rows read, used and not, and groups by design.
fn counted(model: &DeclaredModel, counts: &Counts) -> Vec<Block> {
    let times = |condition: &str| format!("SUM(CASE WHEN {condition} THEN 1e0 ELSE 0e0 END)");
    let mut read = vec![String::new(); count::OF_SOURCE];
    read[count::CHECKSUM] = format!("MAX({})", number(model.checksum as f64));
    read[count::READ] = "SUM(1e0)".to_owned();
    read[count::YOUNG] = times(&counts.young);
    read[count::UNWEIGHED] = times(&counts.unweighed);
    read[count::ZERO_ON_LOG] = times(&counts.zero_on_log);
    read[count::UNKNOWN_LABEL] = times(&counts.unknown_label);
    let block = |kind, by_design, sums: Vec<String>, from: &str| Block {
        kind,
        by_design,
        factors: [None, None],
        sums,
        from: from.to_owned(),
    };
    vec![
        block("count", false, read, "tree_seasons"),
        block("used", false, vec!["SUM(1e0)".to_owned()], "model_rows"),
        block(
            "split",
            false,
            vec![times("n_part > 0e0 AND first_class <> part_class")],
            "r_groups",
        ),
        block("groups", true, vec!["SUM(1e0)".to_owned()], "r_groups"),
    ]
}

impl Block {
    /// One SELECT for every so many sums.
    fn selects(&self) -> Vec<String> {
        let chunks = self.sums.chunks(MOST_SUMS).enumerate();
        chunks.map(|(chunk, sums)| self.select(chunk * MOST_SUMS, sums)).collect()
    }

    fn select(&self, first: usize, sums: &[String]) -> String {
        let mut keys: Vec<(String, &str)> = Vec::new();
        if self.by_design {
            let design = [("n_whole", "k_whole"), ("n_part", "k_part"), ("part_class", "k_class")];
            keys.extend(design.map(|(from, to)| (from.to_owned(), to)));
        }
        for (factor, name) in self.factors.iter().zip(["k_a", "k_b"]) {
            if let Some((_, level)) = factor {
                keys.push((level.clone(), name));
            }
        }
        let mut inner: Vec<String> =
            keys.iter().map(|(from, to)| format!("{from} AS {to}")).collect();
        inner.extend(sums.iter().enumerate().map(|(c, sum)| format!("{sum} AS c{c}")));
        let group = if keys.is_empty() {
            String::new()
        } else {
            let columns: Vec<&str> = keys.iter().map(|(from, _)| from.as_str()).collect();
            format!("\n  GROUP BY {}", columns.join(", "))
        };
        let design = if self.by_design {
            "k_whole AS n_whole, k_part AS n_part, k_class AS part_class"
        } else {
            "0e0 AS n_whole, 0e0 AS n_part, 0 AS part_class"
        };
        let factor = |place: usize, key: &str| match &self.factors[place] {
            Some((factor, _)) => (factor.to_string(), key.to_owned()),
            None => ("-1".to_owned(), "''".to_owned()),
        };
        let ((a, level_a), (b, level_b)) = (factor(0, "k_a"), factor(1, "k_b"));
        let amount = if sums.len() == 1 {
            "c0".to_owned()
        } else {
            let cases = (0..sums.len()).map(|c| format!(" WHEN {c} THEN c{c}")).collect::<String>();
            format!("CASE n{cases} END")
        };
        format!(
            "SELECT '{}' AS kind, {design},\n  {a} AS factor_a, {level_a} AS level_a, {b} AS factor_b, {level_b} AS level_b,\n  \
             n + {first} AS cell, {amount} AS amount\n\
             FROM (\n  SELECT {}\n  FROM {}{group}\n) AS r_sums CROSS JOIN r_numbers\nWHERE n < {}",
            self.kind,
            inner.join(",\n    "),
            self.from,
            sums.len()
        )
    }
}
