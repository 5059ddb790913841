//! Writes an invented report into the folder given as the only argument, to look at the page.

#[path = "../tests/common/mod.rs"]
mod common;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let target = std::env::args().nth(1).ok_or("usage: preview FOLDER")?;
    let report = common::report("=2+3 <script>alert(1)</script>");
    report::publish(target.as_ref(), report::Writer::Run, |dir| {
        report::write_outputs(&report, dir)
    })?;
    Ok(())
}
