//! A pseudo-terminal with a person at one side.

use std::fs::File;

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

/// A terminal: the side of the person who types, and that of the program.
pub fn terminal() -> (File, File) {
    let person = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&person).unwrap();
    unlockpt(&person).unwrap();
    let name = ptsname(&person, Vec::new()).unwrap();
    let program = (File::options().read(true).write(true))
        .open(name.to_str().unwrap())
        .unwrap();
    (File::from(person), program)
}
