//! What the stages before the ward say, in the reader's language: findings, gaps, warnings, names of tests and of sources of
//! uncertainty, and why something cannot be done.

use report::svg::Axis;
use report::svg::xy_chart::XyChart;

use super::sentences::{Table, told};
use super::{Language, Reader};

/// The earlier one is taken where two fit: what says most stands first.
const TABLE: Table = &include!("german_stages.in");

impl Reader {
    /// A text of a stage in the reader's language; what is not known stays as it is.
    pub(crate) fn stage(self, text: &str) -> String {
        match self.language {
            Language::English => None,
            Language::German => told(TABLE, text),
        }
        .unwrap_or_else(|| text.to_owned())
    }

    /// A word of a stage in the reader's language, where it is just that; a name that somebody gave stays.
    pub(crate) fn word(self, name: &str) -> &str {
        match self.language {
            Language::English => name,
            Language::German => TABLE.iter().find(|(en, _)| *en == name).map_or(name, |(_, de)| de),
        }
    }

    /// A chart with its words in the reader's language.
    pub(crate) fn chart(self, mut chart: XyChart) -> XyChart {
        let axis = |axis: Axis| Axis {
            label: self.stage(&axis.label),
            names: axis.names.iter().map(|(at, name)| (*at, self.stage(name))).collect(),
            ..axis
        };
        (chart.x, chart.y) = (axis(chart.x), axis(chart.y));
        chart.title = self.stage(&chart.title);
        chart.description = self.stage(&chart.description);
        let (series, levels, bands) = (&mut chart.series, &mut chart.levels, &mut chart.bands);
        let names = series.iter_mut().map(|s| &mut s.name).chain(levels.iter_mut().map(|l| &mut l.name));
        for name in names.chain(bands.iter_mut().map(|b| &mut b.name)) {
            *name = self.stage(name);
        }
        chart
    }
}

#[cfg(test)]
mod tests {
    use super::super::sentences::sources::texts;
    use super::*;

    const HERE: Reader = Reader { language: Language::German, in_pounds: false };

    /// Sentences that pages show, from the sources of the stages; a line more there and this fails until it has its German.
    #[test]
    fn every_sentence_of_the_stages_has_its_german() {
        let sources = [
            include_str!("../../../calibrate/src/findings.rs"),
            include_str!("../../../calibrate/src/meant.rs"),
            include_str!("../../../calibrate/src/touch/judge.rs"),
            include_str!("../../../calibrate/src/certificate/mod.rs"),
            include_str!("../../../calibrate/src/certificate/in_use.rs"),
            include_str!("../../../calibrate/src/certificate/model.rs"),
            include_str!("../../../verify/src/rules.rs"),
            include_str!("../../../verify/src/plan/tests.rs"),
            include_str!("../../../verify/src/plan/loads.rs"),
            include_str!("../../../verify/src/plan/surroundings.rs"),
            include_str!("../../../verify/src/kinds/creep.rs"),
            include_str!("../../../verify/src/kinds/discrimination.rs"),
            include_str!("../../../verify/src/kinds/eccentricity.rs"),
            include_str!("../../../verify/src/kinds/repeatability.rs"),
            include_str!("../../../verify/src/kinds/temperature.rs"),
            include_str!("../../../verify/src/kinds/tilt.rs"),
            include_str!("../../../verify/src/kinds/weighing.rs"),
            include_str!("../../../verify/src/kinds/zero.rs"),
            include_str!("../../../calibrate/src/checks/chart.rs"),
            include_str!("../../../calibrate/src/checks/trend.rs"),
            include_str!("../../../calibrate/src/plan/mod.rs"),
            include_str!("../../../calibrate/src/plan/bodies.rs"),
            include_str!("../../../calibrate/src/plan/candidates.rs"),
            include_str!("../../../verify/src/agree/gauge.rs"),
            include_str!("../../../stats/src/resolvable.rs"),
            include_str!("../../../design/src/modules.rs"),
            include_str!("../../../design/src/lift.rs"),
            include_str!("../../../design/src/ward.rs"),
            include_str!("../../../design/src/warnings.rs"),
            include_str!("../../../design/src/budget/model.rs"),
            include_str!("../../../report/src/charts/agreement.rs"),
            include_str!("../../../report/src/charts/checks.rs"),
            include_str!("../../../report/src/charts/verification.rs"),
            include_str!("../../../twin/src/trial/report.rs"),
            include_str!("../guided/listening.rs"),
            include_str!("../guided/keeping.rs"),
            include_str!("../guided/mod.rs"),
            include_str!("../guide/session.rs"),
            include_str!("../proof/session.rs"),
            include_str!("../proof/session/told.rs"),
            include_str!("../proof/standing.rs"),
        ];
        // Not for a page: the reason of a lint, errors of a file that a guided run cannot write, of the start, of the log; a half that is
        // told whole below.
        let not_shown = [
            "1.4 e or more above the row before it of the same step",
            "added_g, or a second row of its step",
            "a file of the end could not be kept",
            "7: 7; name another folder, or move the file away to begin anew",
            "rows of a file are far below 2^52",
            "limit 77 g7",
            " (7 ± 7 g in 30 days)",
            "the line through the checks7 with twice its uncertainty then reaches 7",
            "7 from at most, °C (condition 2)",
            "7 up to at least, °C (condition 2)",
            "mean of both",
            "moving average of the ",
            "difference from the mean of the baseline",
            "the bound set for a plate",
            "a cell's capacity",
            "the plate would tip",
            "its clearance: the plate would touch its base",
        ];
        let (mut n, mut missing) = (0, Vec::new());
        for text in sources.iter().flat_map(|s| texts(s)) {
            let is_sentence = text.split(' ').count() >= 3 && text.chars().any(char::is_lowercase);
            let is_code = text.contains("::")
                || text.contains("</")
                || text.contains("rows of a file")
                || text.contains("shape that serde");
            // What the page says by `say` or `fill` is held to a table of its own.
            let is_said = super::super::OF_BENCH
                .iter()
                .chain(super::super::OF_DOCUMENTS)
                .any(|(en, _)| en.replace("{}", "7") == text);
            if !is_sentence || is_code || is_said || not_shown.contains(&text.as_str()) {
                continue;
            }
            n += 1;
            if told(TABLE, &text).is_none() {
                missing.push(text);
            }
        }
        assert_eq!(missing, Vec::<String>::new(), "no German");
        assert!(n > 120, "{n} sentences were found");
        for (i, (en, de)) in TABLE.iter().enumerate() {
            assert_eq!(en.matches("{}").count(), de.matches("{}").count(), "holes of {en:?}");
            assert!(!TABLE[..i].iter().any(|(other, _)| other == en), "{en:?} stands there twice");
        }
    }

    #[test]
    fn whole_texts_are_told_in_german() {
        for (english, german) in [
            ("Weighing performance", "Wägeprüfung"),
            ("limit ± 50.0 g, since 15 min", "Grenze ± 50,0 g, seit 15 min"),
            (
                "not determined: Cell S2 is not determined: no row loads plate seat; put a known mass on it, in the middle and over each of its cells.",
                "nicht bestimmt: Zelle S2 ist nicht bestimmt: keine Zeile belastet Platte seat; ein bekanntes Gewicht darauf legen, in die Mitte und über jede ihrer Zellen.",
            ),
            (
                "row that does not belong: Line 7 (step 6) on plate seat does not fit the other rows and is left out: the cells show +1.250 kg against what the row says; check its mass and what else lay there. By chance a row of a sound run would differ so much with probability 1e-9.",
                "Zeile, die nicht passt: Zeile 7 (Schritt 6) auf Platte seat passt nicht zu den anderen Zeilen und ist weggelassen: die Zellen zeigen +1,250 kg gegen das, was die Zeile sagt; Masse prüfen, und was sonst da lag. Zufällig wiche eine Zeile einer guten Messreihe mit der Wahrscheinlichkeit 1e-9 so stark ab.",
            ),
            (
                "20 weighings of 99.900 kg, at least 6 are asked for",
                "20 Wägungen von 99,900 kg, verlangt sind mindestens 6",
            ),
            (
                "the line through the checks (+0.5 ± 0.1 g in 30 days) with twice its uncertainty then reaches a third of the permissible error at 20.0 kg, 33 g",
                "die Gerade durch die Kontrollen (+0,5 ± 0,1 g in 30 Tagen) mit ihrer doppelten Unsicherheit erreicht dann ein Drittel der Fehlergrenze bei 20,0 kg, 33 g",
            ),
            (
                "the moving average of these 9 checks, up to line 31, lies above its limits (+9.53 g at last, limits -0.98 to +2.01 g)",
                "das gleitende Mittel dieser 9 Kontrollen, bis Zeile 31, liegt über seinen Grenzen (+9,53 g zuletzt, Grenzen -0,98 bis +2,01 g)",
            ),
            ("converter up to at least, °C (condition 2)", "Wandler bis mindestens, °C (Bedingung 2)"),
            ("mean of both, kg", "Mittel beider, kg"),
            (
                "moving average of the difference from the mean of the baseline, g",
                "gleitendes Mittel des Abstands vom Mittel der Ausgangsreihe, g",
            ),
            (
                "permissible error ± 0.3 g of its class bounds the buoyancy; no earlier calibration stated: a drift of ± 2 u taken",
                "die Fehlergrenze ± 0,3 g seiner Klasse begrenzt den Auftrieb; keine frühere Kalibrierung angegeben: eine Drift von ± 2 u angenommen",
            ),
            ("nothing that is known here", "nothing that is known here"),
        ] {
            assert_eq!(HERE.stage(english), german);
        }
        assert_eq!(Reader::ENGLISH.stage("Creep"), "Creep");
    }
}
