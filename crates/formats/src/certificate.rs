//! `certificate.toml`: what a certificate says beyond deck and run. Every key may be absent; what is absent is printed as a
//! line to be filled in by hand, or as "not stated".
//!
//! ```toml
//! [certificate]
//! number = "C-0117"
//! issued_by = "Bench 2"
//! [equipment]
//! serial = "HB-03"
//! [conditions]
//! pressure_hPa = 1004.0
//! humidity_pct = 45.0
//! [[mass]]                  # one for each known mass of the run
//! load = "20 kg"            # the run's column `load`; absent: told by mass_kg
//! mass_kg = 20.0            # as the run states it
//! class = "M1"              # OIML R 111-1
//! certificate = "K-2231"
//! calibrated_on = "2031-02-11"
//! drift_g = 0.3             # largest change between its calibrations
//! ```

use crate::Problems;
use crate::limits::Limits;
use crate::toml_document::Document;
use crate::toml_reader::Table;

/// What a certificate says beyond deck and run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Details {
    /// Number of the certificate.
    pub number: Option<String>,
    /// Who issues it: a workshop or bench, never a person's name in an example.
    pub issued_by: Option<String>,
    /// Where the calibration was made.
    pub place: Option<String>,
    /// Serial number of the deck.
    pub serial: Option<String>,
    /// What the deck is.
    pub description: Option<String>,
    /// Serial number of the converter.
    pub converter_serial: Option<String>,
    /// Temperature during the run, °C; where absent, the run's own column tells it.
    pub temperature_c: Option<f64>,
    /// Air pressure, hPa.
    pub pressure_hpa: Option<f64>,
    /// Relative humidity, %.
    pub humidity_pct: Option<f64>,
    /// The known masses.
    pub masses: Vec<MassDetails>,
}

/// Where a mass has its value from.
#[derive(Debug, Clone, PartialEq)]
pub struct MassDetails {
    /// The run's `load`.
    pub load: Option<String>,
    /// Mass as the run states it, kg.
    pub mass_kg: Option<f64>,
    /// Accuracy class.
    pub class: Option<WeightClass>,
    /// Its certificate.
    pub certificate: Option<String>,
    /// When it was calibrated.
    pub calibrated_on: Option<String>,
    /// Who calibrated it.
    pub issued_by: Option<String>,
    /// Largest change between two of its calibrations, g.
    pub drift_g: Option<f64>,
}

impl MassDetails {
    /// Whether this is the body of a row: by its `load`, else by its mass.
    #[must_use]
    pub fn is_of(&self, load: Option<&str>, mass_kg: f64) -> bool {
        match (&self.load, self.mass_kg) {
            (Some(own), _) => load == Some(own.as_str()),
            // Both were written as text; a difference of rounding is none.
            (None, Some(own)) => (own - mass_kg).abs() <= 1e-9 * mass_kg,
            (None, None) => false,
        }
    }
}

/// Class of a weight by OIML R 111-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeightClass {
    /// E1.
    E1,
    /// E2.
    E2,
    /// F1.
    F1,
    /// F2.
    F2,
    /// M1.
    M1,
    /// M2.
    M2,
    /// M3.
    M3,
}

impl WeightClass {
    /// As the recommendation writes it.
    #[must_use]
    pub fn word(self) -> &'static str {
        crate::words::word(CLASSES, &self)
    }
}

const CLASSES: &crate::words::Words<WeightClass> = &[
    ("E1", WeightClass::E1),
    ("E2", WeightClass::E2),
    ("F1", WeightClass::F1),
    ("F2", WeightClass::F2),
    ("M1", WeightClass::M1),
    ("M2", WeightClass::M2),
    ("M3", WeightClass::M3),
];

const TEMPERATURE_C: Limits = Limits::between(-10.0, 50.0).because("of the room, in °C");
const PRESSURE_HPA: Limits = Limits::between(500.0, 1100.0).because("in hPa, as read at the place");
const HUMIDITY_PCT: Limits = Limits::between(0.0, 100.0).because("relative, in %");

/// Reads the details.
///
/// # Errors
/// All problems of the file at once: text that is not TOML, unknown keys, values of a wrong kind or out of range, a mass
/// that names neither `load` nor `mass_kg`.
pub fn read(file: &str, text: &str) -> Result<Details, Problems> {
    let (doc, tree) = Document::parse(file, text)?;
    let root = Table::root(&doc, &tree);
    let mut details = Details::default();
    if let Some(t) = root.table_opt("certificate") {
        details.number = t.text_opt("number");
        details.issued_by = t.text_opt("issued_by");
        details.place = t.text_opt("place");
        t.finish();
    }
    if let Some(t) = root.table_opt("equipment") {
        details.serial = t.text_opt("serial");
        details.description = t.text_opt("description");
        details.converter_serial = t.text_opt("converter_serial");
        t.finish();
    }
    if let Some(t) = root.table_opt("conditions") {
        details.temperature_c = t.number_opt("temperature_C", TEMPERATURE_C);
        details.pressure_hpa = t.number_opt("pressure_hPa", PRESSURE_HPA);
        details.humidity_pct = t.number_opt("humidity_pct", HUMIDITY_PCT);
        t.finish();
    }
    details.masses = root.tables("mass").into_iter().map(read_mass).collect();
    root.finish();
    doc.finish(details).map(|(details, _)| details)
}

fn read_mass(t: Table<'_>) -> MassDetails {
    let mass = MassDetails {
        load: t.text_opt("load"),
        mass_kg: t.number_opt("mass_kg", Limits::POSITIVE),
        class: t.word_opt("class", CLASSES),
        certificate: t.text_opt("certificate"),
        calibrated_on: t.text_opt("calibrated_on"),
        issued_by: t.text_opt("issued_by"),
        drift_g: t.number_opt("drift_g", Limits::NOT_NEGATIVE),
    };
    if mass.load.is_none() && mass.mass_kg.is_none() {
        t.missing("load", "the run's `load` of this mass, or its `mass_kg`");
    }
    t.finish();
    mass
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_file_is_read() {
        let text = "[certificate]\nnumber = \"C-1\"\nissued_by = \"Bench 2\"\nplace = \"Room 4\"\n[equipment]\nserial = \"HB-03\"\n\
            [conditions]\ntemperature_C = 21.0\npressure_hPa = 1004\nhumidity_pct = 45\n\
            [[mass]]\nload = \"20 kg\"\nmass_kg = 20\nclass = \"M1\"\ncertificate = \"K-1\"\ncalibrated_on = \"2031-02-11\"\ndrift_g = 0.3\n";
        let details = read("certificate.toml", text).unwrap();
        assert_eq!(details.number.as_deref(), Some("C-1"));
        assert_eq!(details.pressure_hpa, Some(1004.0));
        let mass = &details.masses[0];
        assert_eq!(mass.class.map(WeightClass::word), Some("M1"));
        assert!(mass.is_of(Some("20 kg"), 20.0) && !mass.is_of(None, 20.0) && !mass.is_of(Some("10 kg"), 20.0));
        assert_eq!(read("certificate.toml", "").unwrap(), Details::default());
    }

    #[test]
    fn slips_are_named_with_their_line() {
        let text = "[conditions]\npressure_hPa = 100400\n[[mass]]\nclass = \"M9\"\n";
        let problems = read("certificate.toml", text).unwrap_err().to_string();
        for part in ["certificate.toml:2:16", "pressure_hPa", "1100", "certificate.toml:4:9", "M9", "mass[0].load"] {
            assert!(problems.contains(part), "{part} not in {problems}");
        }
    }
}
