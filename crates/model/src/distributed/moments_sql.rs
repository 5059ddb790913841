//! The query that sums a model's columns: over rows, and over trees with the same number of rows.

use super::declared::DeclaredModel;
use super::expression::{number, part};
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
    sums: Sums,
    from: String,
}

/// What a block sums.
enum Sums {
    /// These.
    Listed(Vec<String>),
    /// Every value of the first list times every one of the second: cell i x (length of the
    /// second) + j. Rows are repeated for each i, so that a SELECT has no more sums than columns.
    Products(Vec<String>, Vec<String>),
    /// Every value times itself and the earlier ones.
    Triangle(Vec<String>),
}

impl Sums {
    /// Most numbers that tell its values apart.
    fn most(&self) -> usize {
        match self {
            Sums::Listed(sums) | Sums::Triangle(sums) => sums.len(),
            Sums::Products(left, right) => left.len().max(right.len()),
        }
    }
}

/// The whole query.
pub(super) fn query(model: &DeclaredModel, counts: &Counts) -> String {
    let width = model.fixed.len() + 1;
    let others = others(model);
    let blocks = blocks(model, &others, counts);
    let most = blocks.iter().map(|block| block.sums.most()).max().unwrap_or(1);
    let numbers: Vec<String> = (0..most).map(|n| format!("({n})")).collect();
    let mut parts = vec![
        format!("r_numbers(n) AS (\n  VALUES {}\n)", numbers.join(", ")),
        part("r_groups", &groups(width)),
    ];
    for other in &others {
        parts.push(part(&format!("r_met{}", other.place), &met(other)));
    }
    let selects: Vec<String> = blocks.iter().map(Block::select).collect();
    format!(
        "-- Sums of the yield model as one small table, from model_rows (the result of rows.sql) and\n\
         -- tree_seasons. Save the result as Parquet or CSV for anacurve fit-moments.\n\
         WITH\n{}\n{}\n",
        parts.join(",\n"),
        selects.join("\nUNION ALL\n")
    )
}

/// Everything that is summed.
fn blocks(model: &DeclaredModel, others: &[Other], counts: &Counts) -> Vec<Block> {
    let width = model.fixed.len() + 1;
    let columns =
        |prefix: &str| -> Vec<String> { (0..width).map(|j| format!("{prefix}{j}")).collect() };
    let mut blocks = counted(model, counts);
    blocks.push(Block {
        kind: "sum",
        by_design: false,
        factors: [None, None],
        sums: Sums::Triangle(columns("w")),
        from: "model_rows".to_owned(),
    });
    blocks.push(Block {
        kind: "pooled",
        by_design: true,
        factors: [None, None],
        sums: Sums::Triangle(columns("t")),
        from: "r_groups".to_owned(),
    });
    for (at, a) in others.iter().enumerate() {
        let label = format!("v{}", a.place);
        let sums_of = |other: &Other, alias: &str| -> Vec<String> {
            (0..other.effects.len()).map(|e| format!("{alias}.s{e}")).collect()
        };
        blocks.push(Block {
            kind: "sum",
            by_design: false,
            factors: [Some((a.place, label.clone())), None],
            sums: Sums::Products(a.effects.clone(), columns("w")),
            from: "model_rows".to_owned(),
        });
        blocks.push(Block {
            kind: "pooled",
            by_design: true,
            factors: [Some((a.place, "a.label".to_owned())), None],
            sums: Sums::Products(sums_of(a, "a"), columns("t")),
            from: format!("r_met{} AS a JOIN r_groups ON a.met = grp", a.place),
        });
        for b in &others[at..] {
            let other_label = format!("v{}", b.place);
            blocks.push(Block {
                kind: "sum",
                by_design: false,
                factors: [Some((a.place, label.clone())), Some((b.place, other_label))],
                sums: Sums::Products(a.effects.clone(), b.effects.clone()),
                from: "model_rows".to_owned(),
            });
            blocks.push(Block {
                kind: "pooled",
                by_design: true,
                factors: [
                    Some((a.place, "a.label".to_owned())),
                    Some((b.place, "b.label".to_owned())),
                ],
                sums: Sums::Products(sums_of(a, "a"), sums_of(b, "b")),
                from: format!(
                    "r_met{} AS a JOIN r_met{} AS b ON a.met = b.met JOIN r_groups ON a.met = grp",
                    a.place, b.place
                ),
            });
        }
    }
    blocks
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
    read[count::APART] = times(&counts.apart);
    read[count::UNWEIGHED] = times(&counts.unweighed);
    read[count::ZERO_ON_LOG] = times(&counts.zero_on_log);
    read[count::UNKNOWN_LABEL] = times(&counts.unknown_label);
    let block = |kind, by_design, sums: Vec<String>, from: &str| Block {
        kind,
        by_design,
        factors: [None, None],
        sums: Sums::Listed(sums),
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
    /// Every line tells how many its block has, so that a table that lost some is found out.
    fn select(&self) -> String {
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
        let names: Vec<&str> = keys.iter().map(|(_, name)| *name).collect();
        let keyed: Vec<String> = keys.iter().map(|(from, to)| format!("{from} AS {to}")).collect();
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
        let (sums, count, below) = self.summed(&names, &keyed);
        let amount = if count == 1 { "c0".to_owned() } else { choice("n", "c", count) };
        format!(
            "SELECT '{}' AS kind, {design},\n  {a} AS factor_a, {level_a} AS level_a, {b} AS factor_b, {level_b} AS level_b,\n  \
             r_i * {count} + n AS cell, {amount} AS amount, COUNT(*) OVER () AS n_lines\n\
             FROM (\n  {sums}\n) AS r_sums CROSS JOIN r_numbers\nWHERE n < {count}{below}",
            self.kind
        )
    }

    /// The SELECT with the sums of each r_i, their number, and the condition on those to use.
    fn summed(&self, names: &[&str], keyed: &[String]) -> (String, usize, &'static str) {
        let list = |own: &[String], keys: &[String]| -> String {
            keys.iter().chain(own).cloned().collect::<Vec<_>>().join(",\n    ")
        };
        let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        let grouped = |keys: &[String]| {
            if keys.is_empty() {
                String::new()
            } else {
                format!("\n  GROUP BY {}", keys.join(", "))
            }
        };
        let (left, right, below) = match &self.sums {
            Sums::Listed(sums) => {
                let mut own = vec!["0 AS r_i".to_owned()];
                own.extend(sums.iter().enumerate().map(|(c, sum)| format!("{sum} AS c{c}")));
                let keys: Vec<String> = keyed
                    .iter()
                    .filter_map(|key| key.split(" AS ").next().map(str::to_owned))
                    .collect();
                let select = list(&own, keyed);
                let query = format!("SELECT {select}\n  FROM {}{}", self.from, grouped(&keys));
                return (query, sums.len(), "");
            }
            Sums::Products(left, right) => (left, right, ""),
            Sums::Triangle(both) => (both, both, " AND n <= r_i"),
        };
        let chosen: String =
            left.iter().enumerate().map(|(i, value)| format!(" WHEN {i} THEN {value}")).collect();
        let mut own = vec!["n AS r_i".to_owned(), format!("CASE n{chosen} END AS l")];
        // A column keeps its name: an engine that reasons about equal columns has fewer to think of.
        let is_column = |value: &str| value.starts_with(['w', 't', 'z']);
        let name = |j: usize| -> String {
            if is_column(&right[j]) { right[j].clone() } else { format!("r{j}") }
        };
        own.extend(right.iter().enumerate().map(|(j, value)| {
            if is_column(value) { value.clone() } else { format!("{value} AS r{j}") }
        }));
        let rows = format!(
            "SELECT {}\n  FROM {} CROSS JOIN r_numbers\n  WHERE n < {}",
            list(&own, keyed),
            self.from,
            left.len()
        );
        let mut keys = names;
        keys.push("r_i".to_owned());
        let sums: Vec<String> =
            (0..right.len()).map(|j| format!("SUM(l * {}) AS c{j}", name(j))).collect();
        let query = format!(
            "SELECT {}\n  FROM (\n  {rows}\n  ) AS r_spread{}",
            list(&sums, &keys),
            grouped(&keys)
        );
        (query, right.len(), below)
    }
}

/// The column of a number: `CASE n WHEN 0 THEN c0 ...`.
fn choice(number: &str, prefix: &str, count: usize) -> String {
    let cases: String = (0..count).map(|c| format!(" WHEN {c} THEN {prefix}{c}")).collect();
    format!("CASE {number}{cases} END")
}
