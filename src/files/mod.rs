//! Files: read as bytes, written atomically.

mod folder;
mod nearby;
mod read;
mod whole;

pub use folder::{FOLDER_RECORD, WholeFolder};
pub use nearby::instead_of;
pub use read::{FileToRead, Stamp, open, read_bytes};
pub use whole::{PREFIX, SUFFIX, WholeFile, abandoned, link_end, sweep, write_whole};
