//! Correction tables, and the program text for mounts that is made from them.

mod firmware;
mod table;
#[path = "../table_cases/mod.rs"]
mod table_cases;
