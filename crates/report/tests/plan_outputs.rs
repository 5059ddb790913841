//! The files of the work plan, read back by other programs' libraries.

#![expect(clippy::unwrap_used, reason = "a broken fixture fails the test")]

mod common;

use calamine::{Data, Reader, Xlsx};
use common::report;
use report::{PLAN_FILES, Report, plan_table_fields, work_plan_fields, write_outputs};
use std::collections::BTreeSet;
use std::fs;
use std::process::Command;
use workplan::crew_sheet::{HowMuch, Work};

const HOSTILE: &str = "=2+3 <script>alert('x')</script> \"&\u{1}";

fn written(report: &Report) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    write_outputs(report, dir.path()).unwrap();
    dir
}

fn rows(csv: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(csv.as_bytes());
    reader.records().map(Result::unwrap).collect()
}

#[test]
fn every_file_stands_and_its_columns_are_in_the_dictionary() {
    let dir = written(&report("plain"));
    for name in PLAN_FILES {
        assert!(fs::metadata(dir.path().join(name)).unwrap().len() > 20, "{name}");
        let Some(table) = name.strip_suffix(".csv") else { continue };
        let heads: Vec<String> = rows(&fs::read_to_string(dir.path().join(name)).unwrap())[0]
            .iter()
            .map(str::to_owned)
            .collect();
        let known: Vec<&str> = if table == "workplan" {
            work_plan_fields().iter().map(|field| field.column).collect()
        } else {
            plan_table_fields().iter().filter(|f| f.path == name).map(|f| f.column).collect()
        };
        assert_eq!(heads, known, "{name}");
    }
}

#[test]
fn the_spreadsheet_holds_text_as_text() {
    let report = report(HOSTILE);
    let dir = written(&report);
    let file = fs::read(dir.path().join("workplan.xlsx")).unwrap();
    let mut book: Xlsx<_> = Xlsx::new(std::io::Cursor::new(file)).unwrap();
    let names = book.sheet_names().to_vec();
    assert_eq!(names.len(), 7);
    let plan = book.worksheet_range(&names[0]).unwrap();
    assert_eq!(plan.height(), report.plan.blocks.len() + 1);
    assert!(matches!(plan.get((1, 2)), Some(Data::String(s)) if s.starts_with("=2+3")));
    for name in &names {
        assert!(book.worksheet_formula(name).unwrap().used_cells().next().is_none(), "{name}");
    }
    let csv = fs::read_to_string(dir.path().join("workplan.csv")).unwrap();
    assert!(csv.contains(",\"'=2+3"));
}

/// Cells of every sheet as text, after the names of the sheets.
fn cells(file: &[u8]) -> (Vec<String>, Vec<String>) {
    let mut book: Xlsx<_> = Xlsx::new(std::io::Cursor::new(file)).unwrap();
    let names = book.sheet_names().to_vec();
    let texts = |name: &String| {
        let range = book.worksheet_range(name).unwrap();
        let text = |cell: &Data| match cell {
            Data::String(text) => Some(text.clone()),
            _ => None,
        };
        range.rows().flatten().filter_map(text).collect::<Vec<_>>()
    };
    let cells = names.iter().flat_map(texts).collect();
    (names, cells)
}

#[test]
fn the_workbook_speaks_the_language_of_the_run_and_the_tables_keep_their_columns() {
    let report = report("plain");
    let english = written(&report);
    let spoken = words::speaking(words::Language::Portuguese, || written(&report));
    let read = |dir: &tempfile::TempDir, name: &str| fs::read(dir.path().join(name)).unwrap();
    let (names, said) = cells(&read(&english, "workplan.xlsx"));
    assert_eq!(names[0], "Work plan");
    let (own_names, own_said) = cells(&read(&spoken, "workplan.xlsx"));
    assert_eq!(names.len(), own_names.len());
    assert!(names.iter().all(|name| !own_names.contains(name)), "{own_names:?}");
    // Headings, verdicts, tools and kinds of tools are put into words in both.
    for (word, own) in [
        ("Share of the canopy to remove", "Parte da copa a retirar"),
        ("Prune", "Podar"),
        ("share of the canopy", "parte da copa"),
        ("power saw", "motosserra"),
        ("power tool", "ferramenta motorizada"),
    ] {
        assert!(said.iter().any(|cell| cell == word), "{word}");
        assert!(own_said.iter().any(|cell| cell == own), "{own}");
        assert!(own_said.iter().all(|cell| cell != word), "{word}");
    }
    assert!(said.iter().chain(&own_said).all(|cell| !cell.contains("canopy_fraction")));
    // Programs read the same columns and words of the program in every language.
    for table in PLAN_FILES.iter().filter(|name| name.ends_with(".csv")) {
        let [one, other] = [&english, &spoken]
            .map(|dir| rows(&String::from_utf8(read(dir, table)).unwrap())[0].clone());
        assert_eq!(one, other, "{table}");
    }
    assert_eq!(read(&english, "workplan.csv"), read(&spoken, "workplan.csv"));
}

#[test]
fn every_column_of_the_plan_has_a_heading() {
    for sheet in report::sheets(&report("plain").plan) {
        assert_eq!(sheet.heads.len(), sheet.titles.len());
        for (head, title) in sheet.heads.iter().zip(&sheet.titles) {
            assert!(!title.is_empty(), "{}: {head}", sheet.file);
        }
    }
}

#[test]
fn the_shopping_list_adds_up_and_what_lacks_a_strength_is_refused() {
    let dir = written(&report("plain"));
    let read = |name: &str| rows(&fs::read_to_string(dir.path().join(name)).unwrap());
    let (materials, shopping) = (read("materials.csv"), read("shopping.csv"));
    assert_eq!(shopping.len(), 4);
    for line in &shopping[1..] {
        let sum: f64 = materials
            .iter()
            .filter(|row| row[6] == line[0])
            .map(|row| row[7].parse::<f64>().unwrap())
            .sum();
        let needed: f64 = line[1].parse().unwrap();
        assert!((sum / needed - 1.0).abs() < 1e-4, "{line:?}: {sum}");
        if let Ok(package) = line[3].parse::<f64>() {
            let packages: f64 = line[4].parse().unwrap();
            let buy: f64 = line[5].parse().unwrap();
            assert!((packages * package - buy).abs() < 1e-6 && buy + 1e-6 >= needed);
            assert!(buy - needed < package);
        }
    }
    let missing = fs::read_to_string(dir.path().join("missing.csv")).unwrap();
    assert!(missing.contains("[products.unknown] strength_pct"), "{missing}");
    assert!(!fs::read_to_string(dir.path().join("crew_sheets.html")).unwrap().contains("unknown"));
    let page = fs::read_to_string(dir.path().join("index.html")).unwrap();
    assert!(page.contains("[products.unknown] strength_pct"));
    assert!(page.contains("class=\"alarm\"") && page.contains("leave undone first"));
    assert!(page.contains("Interval before harvest: missing: enter the label"));
}

#[test]
fn the_calendar_is_stable_and_complete() {
    let report = report("Block; one, two");
    let dir = written(&report);
    let ics = fs::read_to_string(dir.path().join("calendar.ics")).unwrap();
    let unfolded = ics.replace("\r\n ", "");
    let lines: Vec<&str> = unfolded.split("\r\n").collect();
    let worked = |block: &&workplan::plan::PlannedBlock| {
        block.sheet.trees_worked > 0 && block.sheet.window.is_some()
    };
    let expected = report.plan.blocks.iter().filter(worked).count();
    assert!(expected > 4);
    assert_eq!(lines.iter().filter(|l| **l == "BEGIN:VEVENT").count(), expected);
    let uids: BTreeSet<&&str> = lines.iter().filter(|l| l.starts_with("UID:")).collect();
    assert_eq!(uids.len(), expected);
    assert!(lines.contains(&"DTSTART;VALUE=DATE:20260504"), "3 May 2026 is a Sunday");
    assert!(unfolded.contains("SUMMARY:Prune: Block\\; one\\, two (East farm)"));
    assert_eq!(
        unfolded.matches("Power saws: trained").count(),
        expected,
        "cautions in every event"
    );
}

#[test]
fn every_block_with_work_has_its_sheet_and_nothing_runs() {
    let report = report(HOSTILE);
    let dir = written(&report);
    let page = fs::read_to_string(dir.path().join("crew_sheets.html")).unwrap();
    let worked = report.plan.blocks.iter().filter(|block| block.sheet.trees_worked > 0).count();
    assert_eq!(page.matches("class=\"sheet\"").count(), worked);
    assert!(!page.contains("<script") && page.contains("@page{size:A4"));
    assert!(page.contains("lang=\"en\""));
}

/// Two sheets of one block have links that tell them apart.
#[test]
fn sheets_that_share_a_title_have_links_of_their_own() {
    let mut report = report("plain");
    let titles: Vec<String> =
        report.plan.blocks.iter().map(|block| block.sheet.block.clone()).collect();
    let [first, second, ..] = report.plan.blocks.as_mut_slice() else { panic!("two blocks") };
    first.sheet.trees_worked = 3;
    second.sheet.trees_worked = 3;
    first.sheet.work = Work::Prune(HowMuch {
        intensity: 0.2,
        measured_as: records::MeasuredAs::CanopyFraction,
        canopy_m: None,
    });
    second.sheet.work = Work::Prune(HowMuch {
        intensity: 0.4,
        measured_as: records::MeasuredAs::CanopyFraction,
        canopy_m: None,
    });
    second.sheet.block.clone_from(&first.sheet.block);
    second.sheet.site.clone_from(&first.sheet.site);
    let page = fs::read_to_string(written(&report).path().join("crew_sheets.html")).unwrap();
    let nav = page.split_once("<nav>").unwrap().1.split_once("</nav>").unwrap().0;
    let links: Vec<&str> =
        nav.split("</a>").filter_map(|link| Some(link.rsplit_once('>')?.1)).collect();
    let apart: BTreeSet<&str> = links.iter().copied().filter(|link| !link.is_empty()).collect();
    let all = links.iter().filter(|link| !link.is_empty()).count();
    assert_eq!(apart.len(), all, "{titles:?}: {links:?}");
}

/// The page's own script, run by node where there is one, says what the command says.
/// A crew at several sites is told that the way is in no day, one of a single site is not.
#[test]
fn the_way_between_sites_is_said_where_a_crew_has_several() {
    let mut report = report("plain");
    let said = |report: &Report| {
        let page = fs::read_to_string(written(report).path().join("index.html")).unwrap();
        page.contains("the way between sites")
    };
    for (sites, told) in [(1, false), (2, true)] {
        report.plan.crews[0].sites = sites;
        assert_eq!(said(&report), told);
    }
}

/// Blocks left unpruned have a word of their own in the table, whatever led to it.
#[test]
fn nothing_to_remove_is_called_leaving_in_the_table() {
    let mut report = report("plain");
    let how_much = |intensity| HowMuch {
        intensity,
        measured_as: records::MeasuredAs::CanopyFraction,
        canopy_m: None,
    };
    for (block, work) in report.plan.blocks.iter_mut().zip([
        Work::Prune(how_much(0.0)),
        Work::Keep(how_much(0.0)),
        Work::Keep(how_much(0.2)),
        Work::Prune(how_much(0.2)),
    ]) {
        block.sheet.work = work;
    }
    let dir = written(&report);
    let plan = rows(&fs::read_to_string(dir.path().join("workplan.csv")).unwrap());
    let column = |name: &str| plan[0].iter().position(|head| head == name).unwrap();
    let actions: Vec<&str> = plan[1..5].iter().map(|row| &row[column("action")]).collect();
    assert_eq!(actions, ["leave", "leave", "keep", "prune"]);
}

#[test]
fn page_and_command_show_the_same_digits() {
    let report = report("plain");
    let dir = written(&report);
    let page = fs::read_to_string(dir.path().join("index.html")).unwrap();
    let between = |from: &str| {
        let (_, rest) = page.split_once(from).unwrap();
        rest.split_once("</script>").unwrap().0.to_owned()
    };
    let data = between("id=\"what-if-data\">");
    let script = between("<script>");
    let asks = [
        (None, None, 1.0, 1),
        (Some(75.35), None, 1.0, 2),
        (None, Some(133.3), 0.815, 3),
        (Some(0.0), Some(0.0), 1.0, 1),
        (Some(1e-3), Some(250.0), 1.25, 3),
    ];
    let mut program = format!("const data = {data};\n{script}\n");
    let mut expected = String::new();
    for (price, wage, level, seasons) in asks {
        let supposed = report::Supposed { price, wage, yield_level: level, seasons };
        let rows = report::what_if_rows(&report.advice, &report.pictures, &supposed).unwrap();
        for row in rows {
            expected.push_str(&row.cells().join("|"));
            expected.push('\n');
        }
        let js = |value: Option<f64>| value.map_or("null".to_owned(), |value| value.to_string());
        program.push_str(&format!(
            "for (const region of data) console.log(row(region, {{ price: {}, wage: {}, level: {level}, seasons: {seasons} }}).join('|'));\n",
            js(price), js(wage)
        ));
    }
    // The command named beneath begins with what the form begins with, and follows what is asked.
    let seed = report.advice.seed;
    let first = format!(">anacurve whatif BOOK --yield-level 1 --seasons 1 --seed {seed}</code>");
    assert!(page.contains(&first), "no {first}");
    program.push_str(
        "console.log(options({ price: 0.75, wage: null, level: 0.815, seasons: 3 }));\n\
         console.log(options({ price: null, wage: null, level: 1, seasons: 1 }));\n",
    );
    expected.push_str("--price 0.75 --yield-level 0.815 --seasons 3\n");
    expected.push_str("--yield-level 1 --seasons 1\n");
    let file = dir.path().join("ask.js");
    fs::write(&file, program).unwrap();
    match Command::new("node").arg(&file).output() {
        Ok(output) => {
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            assert_eq!(String::from_utf8(output.stdout).unwrap(), expected);
        }
        Err(error) => assert_eq!(error.kind(), std::io::ErrorKind::NotFound),
    }
    assert_eq!(expected.lines().count(), 27);
}
