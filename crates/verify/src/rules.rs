//! The clauses behind each test, and how each was known.

use formats::tests::TestKind;
use serde::Serialize;

/// What the limits follow.
pub const EDITION: &str = "Limits follow OIML R 76-1:2006 (the same text as EN 45501:2015) as restated in public secondary \
     texts; the original was not at hand, and clauses marked \"memory\" were not seen even there. Local law decides which \
     edition applies.";

/// What a report of tests is.
pub(crate) const STATEMENT: &str =
    "Evidence for an assessor; not an approval, not a conformity assessment, and no substitute for either.";

/// What the recommendation asks of an instrument and no row of a test file can show.
pub(crate) const BEYOND: &[&str] = &[
    "errors of the test weights themselves: their sum at each load at most a third of the permissible error (3.7.1, read-2nd)",
    "warm-up time (5.3.5, read-2nd), supply voltage (3.9.3, memory), stable equilibrium (4.4.2, read-2nd)",
    "zero tracking (4.5.7, memory), range of zero setting (4.5.1, read-2nd), blanking above Max + 9 e (4.2.3, read-2nd)",
    "damp heat, disturbances, span stability (5.4, annex B, memory)",
    "software, sealing, markings, and the requirements on a medical device, its electricity and its mechanics",
];

/// How a clause was known to the writers of this program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// Read in a secondary text that restates the recommendation.
    #[serde(rename = "read-2nd")]
    ReadSecond,
    /// From memory.
    Memory,
    /// Our own, where the recommendation leaves it open.
    Own,
}

/// A clause and its mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Rule {
    /// Clause and what it asks.
    pub text: &'static str,
    /// How it was known.
    pub mark: Mark,
}

const fn read(text: &'static str) -> Rule {
    Rule { text, mark: Mark::ReadSecond }
}

const fn memory(text: &'static str) -> Rule {
    Rule { text, mark: Mark::Memory }
}

const fn own(text: &'static str) -> Rule {
    Rule { text, mark: Mark::Own }
}

const CHANGEOVER: Rule = read("A.4.4.3: P = I + e/2 − ΔL, E = P − L, E_c = E − E0 with E0 at or near zero");
/// Said beside the clauses of a test that was read so.
pub(crate) const FINE: Rule =
    memory("A.4.1.6: an indication in steps of e/5 or finer may be used to find the error, without changeover points");
const SERVICE: Rule = read("3.5.2: in service the permissible errors are twice those of initial verification");

/// The clauses of a kind of test.
pub(crate) fn rules(kind: TestKind) -> Vec<Rule> {
    match kind {
        TestKind::Weighing => vec![
            read("3.5.1, Table 6: permissible errors ± 0.5 e, 1 e, 1.5 e by class and load"),
            SERVICE,
            CHANGEOVER,
            read(
                "A.4.4: up and down, at least 5 loads (10 for the initial intrinsic error), with Min, Max and the steps of Table 6",
            ),
        ],
        TestKind::Eccentricity => vec![
            read(
                "3.6.2, A.4.7: a third of Max on each quarter, with n > 4 supports 1/(n − 1) of it over each; each indication within the permissible error",
            ),
            CHANGEOVER,
        ],
        TestKind::Repeatability => vec![
            read("3.6.1, A.4.10: difference of weighings of one load within the permissible error of that load"),
            memory("3.6: the error of each single weighing within it too"),
        ],
        TestKind::Discrimination => {
            vec![read(
                "3.8.2.2, A.4.8.2: at Min, half Max and Max an additional load of 1.4 d changes the indication by one d",
            )]
        }
        TestKind::Zero => vec![read("4.5.2: zero setting within ± 0.25 e"), CHANGEOVER],
        TestKind::Tare => vec![
            read("4.6.3: tare setting within ± 0.25 e"),
            read("3.5.3.3: net loads within the permissible error for any tare"),
        ],
        TestKind::Creep => vec![
            read(
                "3.9.4.1, A.4.11.1: near Max, change within 0.5 e over 30 min and within 0.2 e from 15 to 30 min, or else within the permissible error over 4 h",
            ),
            own("readings nearest before 15 and 30 min stand for these times"),
        ],
        TestKind::ZeroReturn => vec![read("3.9.4.2, A.4.11.2: after 30 min near Max zero returns within 0.5 e")],
        TestKind::Tilt => vec![
            read(
                "3.9.1.1, A.5.1: no load within 2 e (not class II); loaded, zeroed at each tilt, within the permissible error of the untilted indication",
            ),
            own("each angle of a section counts as a tilt of the deck"),
        ],
        TestKind::Temperature => vec![
            read("3.9.2: errors within the permissible over the range of temperature"),
            memory(
                "3.9.2.2: limits of temperature that are marked lie at least 5 °C apart in class I, 15 °C in II, 30 °C in III and IIII",
            ),
            read("3.9.2.3, A.5.3.2: no-load indication within 1 e per 5 °C (class I per 1 °C)"),
        ],
    }
}
