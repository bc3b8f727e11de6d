//! Decks, patients and calibrations that are wrong: what is said, where, and what to change.

use bedplate_formats::{calibration, deck, patient};

use super::{DECK, edited, test_deck};

/// All that is said of the deck with these passages changed.
fn said(edits: &[(&str, &str)]) -> String {
    deck::read("deck.toml", &edited(DECK, edits)).expect_err("the deck is wrong").to_string()
}

/// The messages alone, without the lines shown below them.
fn messages(edits: &[(&str, &str)]) -> Vec<String> {
    said(edits).lines().filter(|l| l.starts_with("deck.toml")).map(str::to_owned).collect()
}

#[test]
fn the_place_is_shown_with_a_caret() {
    assert_eq!(
        said(&[("clearance_mm = 5.0", "clearance_mm = -5.0")]),
        "deck.toml:71:16: plate[0].clearance_mm: found -5.0, expected a number above 0 (with no clearance the top \
         lies on its base, which carries the load past the cells)\n\
         \x20    71 | clearance_mm = -5.0\n\
         \x20       |                ^"
    );
}

#[test]
fn text_that_is_not_toml_is_shown() {
    assert_eq!(
        said(&[("name = \"back\"", "name = \"back")]),
        "deck.toml:22:13: found text that is not TOML (invalid basic string), expected `\"`\n\
         \x20    22 | name = \"back\n\
         \x20       |             ^"
    );
    assert_eq!(
        messages(&[("e_g = 100.0", "e_g 100.0")]),
        ["deck.toml:5:5: found text that is not TOML (key with no value), expected `=`"]
    );
    assert_eq!(
        messages(&[("e_g = 100.0", "e_g = 100.0\ne_g = 50.0")]),
        ["deck.toml:6:1: found the key `e_g` a second time, expected each key once in its table"]
    );
    for (old, new, found) in [
        ("\"III\"", "III", "6:9: found `III`"),
        ("thickness_mm = 6.0", "thickness_mm = 6.0 mm", "75:40: found `6.0 mm`"),
        ("[780.0, 860.0]", "[780.0 860.0]", "70:12: found `780.0 860.0`"),
    ] {
        let expected = "a number alone, or a text between quotation marks; several values want commas between them";
        assert_eq!(messages(&[(old, new)]), [format!("deck.toml:{found}, expected {expected}")]);
    }
}

#[test]
fn the_echo_of_a_syntax_error_is_not_told() {
    assert_eq!(messages(&[("layers = [\n", "layers = [\n[")]).len(), 1);
}

#[test]
fn a_decimal_comma_is_named_with_what_to_write() {
    assert_eq!(
        messages(&[("thickness_mm = 6.0", "thickness_mm = 6,5"), ("clearance_mm = 5.0", "clearance_mm = 4,5")]),
        [
            "deck.toml:71:16: found `4,5`, expected a number with a decimal point: `4.5`",
            "deck.toml:75:40: found `6,5`, expected a number with a decimal point: `6.5`",
        ]
    );
    assert_eq!(
        messages(&[("[780.0, 860.0]", "[780,5, 860,0]")]),
        [
            "deck.toml:70:11: plate[0].size_mm: found a list of 4, expected two numbers, `[a, b]`, each a number above 0 and at most 10000 \
         (a number with a decimal comma counts as two: write a point)"
        ]
    );
    assert_eq!(
        messages(&[("clearance_mm = 5.0", "clearance_mm = 5,5")]),
        ["deck.toml:71:16: found `5,5`, expected a number with a decimal point: `5.5`"]
    );
    assert_eq!(
        messages(&[("max_kg = 180.0", "max_kg = \"180,5\"")]),
        ["deck.toml:4:10: deck.max_kg: found the text `180,5`, expected a number above 0, with a decimal point and \
         without quotation marks: `180.5`"]
    );
}

#[test]
fn a_misspelt_key_is_one_problem_that_names_the_key_meant() {
    assert_eq!(
        messages(&[("clearance_mm = 5.0", "clearence_mm = 5.0")]),
        [
            "deck.toml:71:1: plate[0].clearence_mm: found an unknown key, expected the key `clearance_mm`, which is missing here"
        ]
    );
    assert_eq!(
        messages(&[("length_mm = 800.0", "length_cm = 80.0")]),
        [
            "deck.toml:23:1: section[0].length_cm: found an unknown key, expected the key `length_mm`, which is missing here"
        ]
    );
    assert_eq!(
        messages(&[("plate_mass_kg = 6.0", "plate_mas_kg = 6.0")]),
        ["deck.toml:12:1: deck.target.plate_mas_kg: found an unknown key, expected no such key (did you mean \
         `plate_mass_kg`? To keep a key of your own, begin it with `x_`)"]
    );
}

#[test]
fn a_key_of_ones_own_must_begin_with_x() {
    assert_eq!(
        messages(&[("rate_Hz", "drawer = 3\nrate_Hz")]),
        [
            "deck.toml:63:1: converter.drawer: found an unknown key, expected only `approval`, `bits`, `cost_per_channel`, \
         `excitation_V`, `gain`, `noise_nV_rms`, `rate_Hz`, `reference_V` (to keep a key of your own, begin it with `x_`)"
        ]
    );
    let own = edited(DECK, &[("rate_Hz", "x_drawer = 3\nrate_Hz")]);
    assert_eq!(deck::read("deck.toml", &own).unwrap(), test_deck());
}

#[test]
fn a_missing_key_and_a_missing_table_are_named() {
    assert_eq!(
        messages(&[("e_g = 100.0\n", "")]),
        ["deck.toml:2:1: deck.e_g: found nothing, expected a number above 0"]
    );
    assert_eq!(
        messages(&[("strength_MPa = 40.0\n", "")]),
        ["deck.toml:30:1: material[0].strength_MPa: found nothing, expected a number above 0"]
    );
    assert_eq!(
        messages(&[("[ambient]\ntemperature_C = [18.0, 28.0]", "")]),
        ["deck.toml:1:1: ambient: found nothing, expected a table `[ambient]`"]
    );
    assert_eq!(
        messages(&[("latitude_deg = 47.5\naltitude_m = 310\n", "")]),
        [
            "deck.toml:13:1: site.gravity_m_s2: found nothing, expected gravity in m/s², or `latitude_deg` and `altitude_m` \
         in its place"
        ]
    );
}

#[test]
fn a_value_of_another_kind_is_named() {
    assert_eq!(
        messages(&[("e_g = 100.0", "e_g = true")]),
        ["deck.toml:5:7: deck.e_g: found `true`, expected a number above 0"]
    );
    assert_eq!(
        messages(&[("name = \"Hazel test deck\"", "name = 3")]),
        ["deck.toml:3:8: deck.name: found 3, expected a text between quotation marks"]
    );
    assert_eq!(
        messages(&[("e_g = 100.0", "e_g = nan")]),
        ["deck.toml:5:7: deck.e_g: found `nan`, expected a number above 0 that is finite"]
    );
    assert_eq!(
        messages(&[("bits = 24", "bits = 24.5")]),
        ["deck.toml:61:8: converter.bits: found 24.5, expected a whole number from 8 to 32"]
    );
    assert_eq!(
        messages(&[("size_mm = [780.0, 860.0]", "size_mm = [780.0]")]),
        [
            "deck.toml:70:11: plate[0].size_mm: found a list of 1, expected two numbers, `[a, b]`, each a number above 0 and at most 10000"
        ]
    );
    assert_eq!(
        messages(&[("class = \"III\"", "class = \"3\"")]),
        ["deck.toml:6:9: deck.class: found `3`, expected one of `I`, `II`, `III` or `IIII`"]
    );
    let single = said(&[
        ("[[section]]\nname = \"rest\"\nlength_mm = 1150.0\nangle_deg = [-10.0, 20.0]\n", ""),
        ("[[section]]", "[section]"),
    ]);
    assert!(single.contains("section: found a single table, expected a list of tables: `[[section]]`"), "{single}");
}

#[test]
fn numbers_out_of_range_are_named() {
    assert_eq!(
        messages(&[("thickness_mm = 6.0", "thickness_mm = -6.0")]),
        ["deck.toml:75:40: plate[0].layers[1].thickness_mm: found -6.0, expected a number above 0"]
    );
    assert_eq!(
        messages(&[("clearance_mm = 5.0", "clearance_mm = 0")]),
        [
            "deck.toml:71:16: plate[0].clearance_mm: found 0, expected a number above 0 (with no clearance the top lies on \
         its base, which carries the load past the cells)"
        ]
    );
    assert_eq!(
        messages(&[("angle_deg = [0.0, 70.0]", "angle_deg = [70.0, 0.0]")]),
        ["deck.toml:24:13: section[0].angle_deg: found [70, 0], expected the lower value first: `[0, 70]`"]
    );
    assert_eq!(
        messages(&[("[18.0, 28.0]", "[28.0, 18.0]")]),
        ["deck.toml:19:17: ambient.temperature_C: found [28, 18], expected the lower value first: `[18, 28]`"]
    );
    assert_eq!(
        messages(&[("gravity_m_s2 = 9.805", "gravity_m_s2 = 980.5")]),
        [
            "deck.toml:17:16: calibration_site.gravity_m_s2: found 980.5, expected a number from 9.75 to 9.85 (gravity on \
         the ground, m/s²)"
        ]
    );
    assert_eq!(
        messages(&[("nu = 0.3\n", "nu = 0.6\n")]),
        ["deck.toml:33:6: material[0].nu: found 0.6, expected a Poisson ratio above -1 and at most 0.5"]
    );
    assert_eq!(
        messages(&[("height_mm = 1750.0", "height_mm = 175.0")]),
        [
            "deck.toml:101:41: load_case[0].patient.height_mm: found 175.0, expected a number from 250 to 2600 (in millimetres)"
        ]
    );
}

#[test]
fn names_that_stand_for_nothing_are_named_with_those_that_do() {
    assert_eq!(
        messages(&[("{ material = \"board\", thickness_mm = 6.0 }", "{ material = \"bord\", thickness_mm = 6.0 }")])
            .len(),
        1
    );
    let said = said(&[("{ material = \"board\", thickness_mm = 6.0 }", "{ material = \"bord\", thickness_mm = 6.0 }")]);
    assert!(
        said.starts_with(
            "deck.toml:75:16: plate[0].layers[1].material: found `bord`, expected one of `aluminium 5052`, "
        ),
        "{said}"
    );
    assert!(said.contains("(did you mean `board`?)"), "{said}");
    assert_eq!(
        messages(&[("name = \"H1\", type = \"pad 50\"", "name = \"H1\", type = \"pad 500\"")]),
        ["deck.toml:79:25: plate[0].cells[0].type: found `pad 500`, expected `pad 50`"]
    );
    assert_eq!(
        messages(&[("section = \"rest\"", "section = \"legs\"")]),
        ["deck.toml:87:11: plate[1].section: found `legs`, expected one of `back` or `rest`"]
    );
    assert_eq!(
        messages(&[("plate = \"head\"", "plate = \"haed\"")]),
        [
            "deck.toml:104:23: load_case[1].patches[0].plate: found `haed`, expected one of `head` or `foot` (did you mean `head`?)"
        ]
    );
    assert_eq!(
        messages(&[("angles_deg = { back = 30.0 }", "angles_deg = { bak = 30.0 }")]),
        [
            "deck.toml:101:104: load_case[0].patient.angles_deg.bak: found the section `bak`, expected one of `back` or `rest` \
         (did you mean `back`?)"
        ]
    );
}

#[test]
fn a_name_that_stands_twice_names_its_first_line() {
    assert_eq!(
        messages(&[("name = \"F2\"", "name = \"H2\"")]),
        [
            "deck.toml:95:12: plate[1].cells[1].name: found `H2`, expected a name of its own: line 80 has a cell of this name already"
        ]
    );
    assert_eq!(
        messages(&[("name = \"foot\"", "name = \"head\"")]),
        [
            "deck.toml:86:8: plate[1].name: found `head`, expected a name of its own: line 67 has a plate of this name already"
        ]
    );
    assert_eq!(
        messages(&[("name = \"rest\"", "name = \"back\""), ("section = \"rest\"", "section = \"back\"")]),
        [
            "deck.toml:26:8: section[1].name: found `back`, expected a name of its own: line 22 has a section of this name already"
        ]
    );
    let twice = messages(&[("name = \"aluminium 5052\" #", "name = \"board\" #")]);
    assert_eq!(
        twice[0],
        "deck.toml:38:8: material[1].name: found `board`, expected a name of its own: line 31 has a material of this name already"
    );
    assert_eq!(
        messages(&[("name = \"elbow\"", "name = \"even\"")]),
        [
            "deck.toml:106:8: load_case[2].name: found `even`, expected a name of its own: line 103 has a load case of this name already"
        ]
    );
}

#[test]
fn a_cell_may_not_bear_the_name_of_another_column() {
    assert_eq!(
        messages(&[("name = \"H1\"", "name = \"t_s\"")]),
        [
            "deck.toml:79:12: plate[0].cells[0].name: found `t_s`, expected a name that is not a column of the run or the \
         recording already"
        ]
    );
}

#[test]
fn cells_must_carry_their_plate() {
    assert_eq!(
        messages(&[("at_mm = [740.0, 820.0]", "at_mm = [740.0, 920.0]")]),
        [
            "deck.toml:81:43: plate[0].cells[2].at_mm: found [740, 920], expected a place on its plate, 0 to 780 along x and \
         0 to 860 along y"
        ]
    );
    assert_eq!(
        messages(&[("  { name = \"F3\", type = \"pad 50\", at_mm = [1090.0, 820.0] },\n", "")]),
        ["deck.toml:93:9: plate[1].cells: found 2 cells, expected at least 3 cells: on fewer the plate tips"]
    );
    assert_eq!(
        messages(&[("at_mm = [40.0, 430.0]", "at_mm = [1090.0, 430.0]")]),
        [
            "deck.toml:93:9: plate[1].cells: found all cells in one line, expected cells that are not in one line: on a line \
         the plate tips"
        ]
    );
    assert_eq!(
        messages(&[("at_mm = [40.0, 820.0]", "at_mm = [40.0, 40.0]")]),
        [
            "deck.toml:78:9: plate[0].cells: found cells `H1` and `H4` at one place, expected each cell at a place of its own"
        ]
    );
}

#[test]
fn what_does_not_fit_the_plate_is_named() {
    assert_eq!(
        messages(&[("at_mm = 210.0", "at_mm = 855.0")]),
        [
            "deck.toml:77:33: plate[0].ribs[0].at_mm: found a rib from 845 to 865 mm along y, expected a rib below the plate, \
         which reaches from 0 to 860 mm along y"
        ]
    );
    assert_eq!(
        messages(&[("height_mm = 3.0", "height_mm = 25.0")]),
        [
            "deck.toml:77:69: plate[0].ribs[0].height_mm: found 25, expected less than the clearance of 5 mm: a rib hangs into it \
         and would stand on the base"
        ]
    );
    assert_eq!(
        messages(&[("x_mm = 300.0", "x_mm = 730.0")]),
        [
            "deck.toml:104:38: load_case[1].patches[0].x_mm: found a patch from 730 to 810 mm, expected a patch on its plate, \
         which reaches from 0 to 780 mm: what lies beside the plate it does not carry"
        ]
    );
    assert_eq!(
        messages(&[("layers = [ { material = \"board\", thickness_mm = 18.0 } ]", "layers = []")]),
        ["deck.toml:92:10: plate[1].layers: found an empty list, expected at least one layer"]
    );
    assert_eq!(
        messages(&[("even_kg = 150.0\n", "")]),
        ["deck.toml:105:1: load_case[2].patient: found nothing, expected a load: `patient`, `patches` or `even_kg`"]
    );
    assert_eq!(
        messages(&[("back = 30.0", "back = 75.0")]),
        [
            "deck.toml:101:105: load_case[0].patient.angles_deg.back: found 75, expected an angle that the section reaches, 0 to 70°"
        ]
    );
}

#[test]
fn plates_that_lie_on_each_other_are_refused() {
    assert_eq!(
        messages(&[("origin_mm = [810.0, 10.0]", "origin_mm = [785.0, 10.0]")]),
        [
            "deck.toml:88:13: plate[1].origin_mm: found a plate from 785 to 1915 mm along x and from 10 to 870 mm along y, \
         expected a place of its own: it would lie on plate `head`, and neither could move"
        ]
    );
}

#[test]
fn a_value_to_be_kept_must_be_one_that_toml_can_keep() {
    let told = messages(&[("board_mm = [6, 9, 12]", "board_mm = [6, 99999999999999999999]")]);
    assert!(told.len() == 1 && told[0].starts_with("deck.toml:110:16: explore: found "), "{told:?}");
    assert_eq!(
        messages(&[("[explore]\nboard_mm = [6, 9, 12]\n", ""), ("# Invented", "explore = 3\n# Invented")]),
        ["deck.toml:1:11: explore: found 3, expected one table `[explore]`"]
    );
}

#[test]
fn a_plate_beyond_its_section_is_a_warning() {
    let text = edited(DECK, &[("size_mm = [1130.0, 860.0]", "size_mm = [1160.0, 860.0]")]);
    let (_, warnings) = deck::read_with_warnings("deck.toml", &text).unwrap();
    assert_eq!(warnings.len(), 1);
    assert!(
        warnings[0].to_string().starts_with(
            "deck.toml:89:11: plate[1].size_mm: found a plate from 810 to 1970 mm along the bed, expected a plate within \
             its section `rest`, from 800 to 1950 mm: over a hinge it jams or bears on the next section"
        ),
        "{}",
        warnings[0]
    );
}

#[test]
fn several_problems_are_told_at_once_in_the_order_of_the_lines() {
    let told = messages(&[
        ("thickness_mm = 2.0", "thickness_mm = -2.0"),
        ("e_g = 100.0", "e_g = 0"),
        ("name = \"F2\"", "name = \"F1\""),
        ("rate_Hz = 10.0\n", ""),
    ]);
    let lines: Vec<_> = told.iter().map(|m| m.split(':').nth(1).unwrap()).collect();
    assert_eq!(lines, ["5", "57", "73", "94"]);
}

#[test]
fn patients_that_are_wrong_are_refused() {
    let text = include_str!("../data/patient.toml");
    let said = |edits: &[(&str, &str)]| {
        let problems = patient::read("patient.toml", &edited(text, edits)).expect_err("the patient is wrong");
        problems.to_string().lines().next().unwrap().to_owned()
    };
    assert_eq!(
        said(&[("height_mm = 1640.0", "height_mm = 164.0")]),
        "patient.toml:6:13: patient.height_mm: found 164.0, expected a number from 200 to 2800 (in millimetres)"
    );
    assert_eq!(
        said(&[("height_mm = 1640.0", "height_cm = 164.0")]),
        "patient.toml:6:1: patient.height_cm: found an unknown key, expected no such key (did you mean `height_mm`? To \
         keep a key of your own, begin it with `x_`)"
    );
    assert_eq!(
        said(&[("\"humidified\"", "\"wet\"")]),
        "patient.toml:10:14: patient.ventilated: found `wet`, expected one of `humidified`, `dry` or `no`"
    );
    assert_eq!(
        said(&[("age_y = 61", "age_y = 1\nage_mo = 12")]),
        "patient.toml:6:10: patient.age_mo: found a second age, expected one of `age_y` and `age_mo`"
    );
    assert_eq!(
        said(&[("intake_mL_h = 110.0", "intake_mL_h = -110.0")]),
        "patient.toml:14:15: plan.intake_mL_h: found -110.0, expected a number of at least 0"
    );
}

#[test]
fn calibrations_that_are_wrong_are_refused() {
    let text = include_str!("../data/calibration.json");
    let said = |edits: &[(&str, &str)]| {
        let problems = calibration::read("c.json", &edited(text, edits)).expect_err("the calibration is wrong");
        problems.to_string().lines().next().unwrap().to_owned()
    };
    assert_eq!(
        said(&[("\"kg_per_count\": 2.3e-5", "\"kg_per_count\": \"2.3e-5\"")]),
        "c.json:8:61: cells[2].kg_per_count: found invalid type: string \"2.3e-5\", expected f64"
    );
    assert!(
        said(&[("\"kg_per_count\": 2.3e-5", "\"kg_per_count\": 0")])
            .contains("cells[2].kg_per_count: found 0, expected")
    );
    assert_eq!(
        said(&[("  \"residual_sd_g\": 3.2,\n", "")]),
        "c.json:21:1: found an object without `residual_sd_g`, expected this field as well"
    );
    assert_eq!(
        said(&[("9.805", "9805")]),
        "c.json:4:19: gravity_m_s2: found 9805, expected gravity on the ground, 9.75 to 9.85 m/s²"
    );
    assert_eq!(said(&[("\"H2\"", "\"H1\"")]), "c.json:7:14: cells[1].name: found `H1`, expected each cell once");
    assert_eq!(
        said(&[("[[9.0, 0.0], ", "[[9.0], ")]),
        "c.json:19:67: covariance.matrix[0]: found a row of length 1, expected length 2, the number of parameters"
    );
    assert_eq!(
        said(&[("\"status\": \"not-determined\"", "\"status\": \"good\"")]),
        "c.json:12:5: cells[6]: found no zero or no kilograms a count, expected both, or the status `not-determined`"
    );
    assert_eq!(
        said(&[("\"kind\": \"noisy\"", "\"kind\": \"loud\"")]).split(", expected").next(),
        Some("c.json:20:30: findings[0].kind: found unknown variant `loud`")
    );
}

#[test]
fn a_calibration_of_another_deck_names_the_cells() {
    let text =
        edited(include_str!("../data/calibration.json"), &[("\"F3\"", "\"G3\""), ("Hazel test deck", "Alder deck")]);
    let calibration = calibration::read("c.json", &text).unwrap();
    let problems = calibration::check_matches(&calibration, "c.json", &test_deck()).unwrap_err();
    assert_eq!(
        problems.to_string(),
        "c.json: cells: found a calibration of the deck `Alder deck` without the cells `F3` but with the cells `G3`, \
         expected a calibration of the deck `Hazel test deck`, with its cells and no others"
    );
}
