//! No `std`: a look at the source. The attribute alone makes the compiler refuse `std`; the words must not come back in by name.

#[test]
fn the_source_names_neither_std_nor_alloc() {
    let lib = include_str!("../src/lib.rs");
    assert!(lib.contains("#![no_std]"), "without it `std` is in scope");
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/src")).unwrap() {
        let path = entry.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        for word in ["std::", "alloc::", "extern crate"] {
            let at = text.lines().position(|line| line.contains(word) && !line.contains("core::"));
            assert_eq!(at, None, "{word} in {}: the signal path runs on controllers, use `core`", path.display());
        }
    }
}
