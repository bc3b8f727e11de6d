//! `plans.toml`: plans to be set against the patient file's own, one `[[plan]]` each.
//!
//! ```toml
//! [[plan]]
//! name = "no more fluid"
//! intake_mL_h = 20.0
//! output_mL_h = 70.0
//! ultrafiltration_mL_h = 0.0
//! ```
//! A rate that is not given is nothing.

use crate::Problems;
use crate::patient::{Plan, read_plan};
use crate::toml_document::Document;
use crate::toml_reader::Table;

/// Reads the plans, each with its name.
///
/// # Errors
/// Text that is not TOML, no plan, no or equal names, rates below 0, unknown keys.
pub fn read(file: &str, text: &str) -> Result<Vec<(String, Plan)>, Problems> {
    let (doc, tree) = Document::parse(file, text)?;
    let root = Table::root(&doc, &tree);
    let mut plans: Vec<(String, Plan)> = Vec::new();
    for table in root.some_tables("plan", "plan") {
        let name = table.text("name");
        if plans.iter().any(|(other, _)| *other == name) {
            table.problem("name", crate::limits::quoted(&name), "a name that no other plan has");
        }
        plans.push((name, read_plan(table)));
    }
    root.finish();
    doc.finish(plans).map(|(plans, _)| plans)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plans_are_read_by_name() {
        let text = "[[plan]]\nname = \"dry\"\nintake_mL_h = 20.0\n[[plan]]\nname = \"wet\"\nintake_mL_h = 200\n";
        let plans = read("plans.toml", text).unwrap();
        assert_eq!(plans[0].0, "dry");
        assert!((plans[1].1.intake_ml_h - 200.0).abs() < 1e-12 && plans[1].1.output_ml_h.abs() < 1e-12);
    }

    #[test]
    fn what_is_no_plan_is_refused_by_its_place() {
        let refused = |text: &str| read("plans.toml", text).unwrap_err().to_string();
        assert!(refused("[[plan]]\nname = \"a\"\nintake_mL_h = -1.0\n").contains("plans.toml:3"));
        assert!(refused("[[plan]]\nname = \"a\"\n[[plan]]\nname = \"a\"\n").contains("no other plan"));
        assert!(refused("[[plan]]\nname = \"a\"\nintake_ml_h = 1.0\n").contains("intake_mL_h"));
        assert!(refused("").contains("plan"));
    }
}
