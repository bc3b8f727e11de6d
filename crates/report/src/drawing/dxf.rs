//! A drawing as DXF of release 12 in ASCII, which every workshop program reads.
//!
//! The file is pairs of lines, a group code and its value: a header with the extent, tables of line types and layers, then
//! lines, circles and texts. One unit is 1 mm. Release 12 holds ASCII alone: other letters are written as `\U+XXXX`.

use std::fmt::Write as _;

use super::{Drawing, Layer, Shape};

/// The file.
#[must_use]
pub fn write(drawing: &Drawing) -> String {
    let mut file = File::default();
    file.put(999, ascii(&drawing.title));
    header(&mut file, drawing);
    tables(&mut file);
    file.put(0, "SECTION");
    file.put(2, "ENTITIES");
    for mark in &drawing.marks {
        entity(&mut file, mark.layer, &mark.shape);
    }
    file.put(0, "ENDSEC");
    file.put(0, "EOF");
    file.0
}

#[derive(Default)]
struct File(String);

impl File {
    fn put(&mut self, code: u16, value: impl std::fmt::Display) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.0, "{code:>3}\n{value}");
    }

    /// A point in group codes `code`, `code` + 10 and `code` + 20.
    fn point(&mut self, code: u16, [x, y]: [f64; 2]) {
        self.number(code, x);
        self.number(code + 10, y);
        self.number(code + 20, 0.0);
    }

    fn number(&mut self, code: u16, value: f64) {
        // A nanometre is below every tolerance; no minus before a zero.
        self.put(code, crate::number::fixed(value, 6));
    }
}

fn header(file: &mut File, drawing: &Drawing) {
    let (low, high) = drawing.extent();
    file.put(0, "SECTION");
    file.put(2, "HEADER");
    file.put(9, "$ACADVER");
    file.put(1, "AC1009");
    // 4: millimetres.
    file.put(9, "$INSUNITS");
    file.put(70, 4);
    for (name, [x, y]) in [("$EXTMIN", low), ("$EXTMAX", high)] {
        file.put(9, name);
        file.point(10, [x, y]);
    }
    file.put(0, "ENDSEC");
}

fn tables(file: &mut File) {
    file.put(0, "SECTION");
    file.put(2, "TABLES");
    file.put(0, "TABLE");
    file.put(2, "LTYPE");
    file.put(70, 2);
    for (name, words, dashes) in [("CONTINUOUS", "", &[][..]), ("DASHED", "__ __ __", &[8.0, -5.0][..])] {
        file.put(0, "LTYPE");
        file.put(2, name);
        file.put(70, 0);
        file.put(3, words);
        file.put(72, 65);
        file.put(73, dashes.len());
        file.number(40, dashes.iter().map(|d: &f64| d.abs()).sum());
        for &dash in dashes {
            file.number(49, dash);
        }
    }
    file.put(0, "ENDTAB");
    file.put(0, "TABLE");
    file.put(2, "LAYER");
    file.put(70, Layer::ALL.len());
    for layer in Layer::ALL {
        // Colours by number: 1 red, 5 blue, 7 black or white, 8 grey.
        let colour = match layer {
            Layer::Cell => 1,
            Layer::Dimension => 5,
            Layer::Rib | Layer::Section => 8,
            Layer::Outline | Layer::Text => 7,
        };
        file.put(0, "LAYER");
        file.put(2, layer.name());
        file.put(70, 0);
        file.put(62, colour);
        file.put(6, if layer.is_dashed() { "DASHED" } else { "CONTINUOUS" });
    }
    file.put(0, "ENDTAB");
    file.put(0, "ENDSEC");
}

fn entity(file: &mut File, layer: Layer, shape: &Shape) {
    let mut begin = |kind: &str| {
        file.put(0, kind);
        file.put(8, layer.name());
    };
    match shape {
        Shape::Line(from, to) => {
            begin("LINE");
            file.point(10, *from);
            file.point(11, *to);
        }
        Shape::Circle(centre, radius) => {
            begin("CIRCLE");
            file.point(10, *centre);
            file.number(40, *radius);
        }
        Shape::Text { at, height, words, middle, upright } => {
            begin("TEXT");
            file.point(10, *at);
            file.number(40, *height);
            file.put(1, ascii(words));
            if *upright {
                file.put(50, 90);
            }
            if *middle {
                // 1: centred on the second point.
                file.put(72, 1);
                file.point(11, *at);
            }
        }
    }
}

/// One line of ASCII.
fn ascii(words: &str) -> String {
    let mut out = String::new();
    for c in words.chars() {
        match c {
            ' '..='~' => out.push(c),
            _ if c.is_control() => out.push(' '),
            _ => {
                for unit in c.encode_utf16(&mut [0; 2]) {
                    let _ = write!(out, "\\U+{unit:04X}");
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_letters_are_written_by_number_and_breaks_are_lost() {
        assert_eq!(ascii("a°\nb"), "a\\U+00B0 b");
    }

    #[test]
    fn every_group_is_a_code_and_a_value() {
        let mut drawing = Drawing::default();
        drawing.rectangle(Layer::Outline, [0.0, 0.0], [10.0, 5.0]);
        let text = write(&drawing);
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines.len().is_multiple_of(2));
        assert!(lines.iter().step_by(2).all(|code| code.trim().parse::<u16>().is_ok()));
        assert_eq!(lines.iter().filter(|l| **l == "LINE").count(), 4);
    }
}
