use super::*;

fn entry(line: usize, time: &str, direction: Direction, route: Route, volume_ml: f64) -> Entry {
    Entry { line, time: time.parse().unwrap(), direction, route, volume_ml, leaves_deck: true, note: String::new() }
}

fn frame() -> Frame {
    Frame {
        origin: "2031-03-04T00:00:00Z".parse().unwrap(),
        now_h: 48.0,
        weight_kg: 70.0,
        densities: None,
        stamps: Stamps::Read,
    }
}

fn hourly(n: usize, volume_ml: f64) -> Vec<Entry> {
    (0..n)
        .map(|i| entry(i + 2, &format!("2031-03-04T{i:02}:59:00Z"), Direction::Intake, Route::Iv, volume_ml))
        .collect()
}

#[test]
fn rows_out_of_order_are_sorted() {
    let mut chart = hourly(5, 100.0);
    chart.reverse();
    let ledger = Ledger::new(&chart, &frame()).unwrap();
    assert!(ledger.flows.windows(2).all(|pair| pair[0].stamp_h < pair[1].stamp_h));
}

#[test]
fn an_hourly_infusion_ran_since_the_entry_before_and_has_no_timing_error() {
    let ledger = Ledger::new(&hourly(6, 100.0), &frame()).unwrap();
    let flow = &ledger.flows[3];
    assert!((flow.end_h - flow.start_h - 1.0).abs() < 1e-9);
    assert!(flow.timing_g2 < 1e-12);
}

#[test]
fn a_bolus_between_hourly_entries_keeps_their_windows_whole() {
    let mut chart = hourly(8, 100.0);
    chart.push(entry(20, "2031-03-04T04:20:00Z", Direction::Intake, Route::Iv, 500.0));
    let ledger = Ledger::new(&chart, &frame()).unwrap();
    let after = ledger.flows.iter().find(|flow| ledger.entries[flow.entry_idx].line == 6).unwrap();
    assert!((after.end_h - after.start_h - 1.0).abs() < 0.35, "{after:?}");
    let bolus = ledger.flows.iter().find(|flow| ledger.entries[flow.entry_idx].line == 20).unwrap();
    // 400 mL more than its neighbours' rate: timing error a good part of that.
    assert!(bolus.timing_g2.sqrt() > 80.0, "{bolus:?}");
}

#[test]
fn a_lone_drink_ran_within_half_an_hour() {
    let chart = [entry(2, "2031-03-04T10:00:00Z", Direction::Intake, Route::Oral, 200.0)];
    let flow = &Ledger::new(&chart, &frame()).unwrap().flows[0];
    assert!((flow.end_h - flow.start_h - 0.5).abs() < 1e-12);
}

#[test]
fn output_into_a_pad_stays_on_the_deck() {
    let mut chart = [entry(2, "2031-03-04T10:00:00Z", Direction::Output, Route::Urine, 150.0)];
    chart[0].leaves_deck = false;
    let flow = &Ledger::new(&chart, &frame()).unwrap().flows[0];
    assert!((flow.body_g + 150.0).abs() < 1e-12 && (flow.pool_g - 150.0).abs() < 1e-12);
}

#[test]
fn the_same_entry_twice_is_refused_with_both_lines() {
    let mut chart = hourly(3, 100.0);
    chart.push(Entry { line: 9, ..chart[1].clone() });
    let error = Ledger::new(&chart, &frame()).unwrap_err();
    assert_eq!(error, BalanceError::DuplicateEntry { first: 3, second: 9 });
}

#[test]
fn a_negative_volume_is_refused() {
    let chart = [entry(7, "2031-03-04T10:00:00Z", Direction::Intake, Route::Oral, -20.0)];
    assert_eq!(Ledger::new(&chart, &frame()).unwrap_err(), BalanceError::BadVolume { line: 7, found: -20.0 });
}

#[test]
fn five_litres_of_urine_in_an_hour_are_doubted_but_counted() {
    let chart = [entry(7, "2031-03-04T10:00:00Z", Direction::Output, Route::Urine, 5000.0)];
    let ledger = Ledger::new(&chart, &frame()).unwrap();
    assert!(ledger.doubts.len() == 1 && ledger.doubts[0].counted);
    assert!((ledger.charted_ml(0.0, 48.0) + 5000.0).abs() < 1e-12);
    assert!(ledger.flows[0].var_g2 >= 2.5e7);
}

#[test]
fn an_entry_in_the_future_is_doubted() {
    let chart = [entry(7, "2031-03-07T10:00:00Z", Direction::Intake, Route::Iv, 100.0)];
    let ledger = Ledger::new(&chart, &frame()).unwrap();
    assert!(ledger.doubts[0].text.contains("in the future") && !ledger.doubts[0].counted);
    assert!(ledger.charted_ml(0.0, 48.0).abs() < 1e-12);
}

#[test]
fn an_entry_before_the_record_is_doubted() {
    let chart = [entry(7, "2031-03-03T22:30:00Z", Direction::Intake, Route::Iv, 100.0)];
    let ledger = Ledger::new(&chart, &frame()).unwrap();
    assert_eq!(ledger.doubts[0].text, "stands 1.5 h before the record begins");
    assert!(!ledger.doubts[0].counted && ledger.charted_ml(0.0, 48.0).abs() < 1e-12);
}

#[test]
fn steps_on_a_grid_add_up_to_the_flows() {
    let ledger = Ledger::new(&hourly(6, 120.0), &frame()).unwrap();
    let times: Vec<f64> = (0..=42).map(|i| f64::from(i) / 6.0).collect();
    let steps = distribute(&ledger.flows, &times);
    let sum: f64 = steps.iter().map(|step| step.body_g).sum();
    assert!((sum - 720.0).abs() < 1e-9, "{sum}");
    // An hour in the middle takes 20 g in each ten minutes.
    assert!((steps[14].body_g - 20.0).abs() < 1e-9);
}
