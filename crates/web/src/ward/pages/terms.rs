//! The words of actions and of the chart, in the reader's language. A word that is not known here stays as it is.

use crate::words::Reader;

/// An action at the bed.
pub(super) fn action(reader: Reader, word: &str) -> &str {
    match word {
        "tare" => reader.say("tare of the empty deck"),
        "hold" => reader.say("hold"),
        "release" => reader.say("release"),
        "add" => reader.say("something came onto the bed"),
        "remove" => reader.say("something left the bed"),
        "patient_on" => reader.say("the patient lay down"),
        "patient_off" => reader.say("the patient left the bed"),
        "patient_step" => reader.say("a change of the patient's own"),
        "withdraw" => reader.say("what was entered did not come about"),
        other => other,
    }
}

/// What somebody may do.
pub(super) fn role(reader: Reader, word: &str) -> &str {
    match word {
        "viewer" => reader.say("viewer"),
        "nurse" => reader.say("nurse"),
        "engineer" => reader.say("engineer"),
        "administrator" => reader.say("administrator"),
        other => other,
    }
}

/// In or out.
pub(super) fn direction(reader: Reader, word: &str) -> &str {
    match word {
        "intake" => reader.say("in"),
        "output" => reader.say("out"),
        other => other,
    }
}

/// The way of a volume.
pub(super) fn route(reader: Reader, word: &str) -> &str {
    match word {
        "iv" => reader.say("infusion"),
        "oral" => reader.say("by mouth"),
        "enteral" => reader.say("feeding tube"),
        "blood" => reader.say("blood"),
        "urine" => reader.say("urine"),
        "drain" => reader.say("drain"),
        "stool" => reader.say("stool"),
        "gastric" => reader.say("stomach"),
        "ultrafiltrate" => reader.say("ultrafiltrate"),
        "other" => reader.say("other"),
        other => other,
    }
}
