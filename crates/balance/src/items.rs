//! Fluid that left the deck with an item.
//!
//! `weigh` takes an item off the patient's weight when it comes and gives it back when it goes, both times by what the deck
//! felt. A pad that came dry and goes wet goes with the patient's fluid: the deck falls by pad and fluid, the item's mass is
//! taken for both, and the patient's weight goes on as if the fluid still lay there. What an item weighed more when it left than
//! when it came is that fluid: it is taken off every later weight, and off the pool.
//!
//! Items that left by no name, or by one that nothing came by, tell nothing: what they weighed dry is not known.

use jiff::Timestamp;

use crate::options::ItemEvent;

/// Less than this many standard uncertainties is no fluid.
const SURE: f64 = 2.0;

/// Fluid that went with one item.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Wet {
    /// When.
    pub(crate) time: Timestamp,
    /// Fluid, g.
    pub(crate) fluid_g: f64,
    /// Its standard uncertainty, g.
    pub(crate) u_g: f64,
    /// Which item.
    pub(crate) name: String,
}

/// What items took with them, in order of time. Each that left is set against the last of its name that came and is still there.
pub(crate) fn wet(items: &[ItemEvent]) -> Vec<Wet> {
    let mut lying: Vec<&ItemEvent> = Vec::new();
    let mut out = Vec::new();
    for item in items {
        if item.kg >= 0.0 {
            lying.push(item);
            continue;
        }
        let named = |other: &&ItemEvent| !item.name.is_empty() && other.name == item.name;
        let Some(idx) = lying.iter().rposition(named) else { continue };
        let dry = lying.remove(idx);
        let fluid_g = 1000.0 * (-item.kg - dry.kg);
        let u_g = 1000.0 * item.u_kg.hypot(dry.u_kg);
        if fluid_g > SURE * u_g {
            out.push(Wet { time: item.time, fluid_g, u_g, name: item.name.clone() });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn item(second: i64, kg: f64, name: &str) -> ItemEvent {
        ItemEvent { time: Timestamp::from_second(second).unwrap(), kg, u_kg: 0.01, name: name.to_owned() }
    }

    #[test]
    fn a_pad_that_leaves_wet_takes_what_it_gained() {
        let found =
            wet(&[item(0, 0.2, "pad"), item(10, 1.1, "monitor"), item(20, -0.55, "pad"), item(30, -1.1, "monitor")]);
        assert_eq!(found.len(), 1);
        assert!((found[0].fluid_g - 350.0).abs() < 1e-9 && (found[0].u_g - 10.0 * 2f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn what_has_no_name_or_never_came_tells_nothing() {
        assert!(wet(&[item(0, 0.2, ""), item(20, -0.55, ""), item(30, -0.9, "sheet")]).is_empty());
    }
}
