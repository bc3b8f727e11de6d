//! No `std`: a look at the source. The attribute alone makes the compiler refuse `std`; the words must not come back in by name.

#[test]
fn the_source_names_neither_std_nor_alloc() {
    let lib = include_str!("../src/lib.rs");
    assert!(lib.contains("#![no_std]"), "without it `std` is in scope");
    let mut open = vec![std::path::PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/src"))];
    while let Some(path) = open.pop() {
        if path.is_dir() {
            open.extend(std::fs::read_dir(&path).unwrap().map(|entry| entry.unwrap().path()));
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        for word in ["std::", "alloc::", "extern crate"] {
            let at = text.lines().position(|line| line.contains(word) && !line.contains("core::"));
            assert_eq!(at, None, "{word} in {}: the signal path runs on controllers, use `core`", path.display());
        }
    }
}
