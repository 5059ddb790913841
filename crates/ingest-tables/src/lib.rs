//! Files of a record book to typed tables: every row is kept or quarantined, every repair counted.

mod alike;
mod archive;
mod cache;
mod cell;
mod columns;
mod date_order;
mod decode;
mod discover;
mod draw;
mod duplicates;
mod header;
mod inputs;
mod parquet_rows;
mod parts;
mod pattern;
mod prunings;
mod quarantine;
mod read;
mod refused;
mod report;
mod rows;
mod set_aside;
mod sheet_rows;
mod slips;
mod spot_check;
mod stated;
mod summary;
mod table;
mod text_rows;
mod unread;

pub use draw::Draw;
pub use quarantine::{MissingVisit, QuarantinedRow, SetAside, write_quarantine};
pub use read::{BookTables, IngestError, ReadSettings, read_book, read_book_with};
pub use report::{FileReport, Progress, Repair};
pub use spot_check::{SpotCheck, SpotValue};
