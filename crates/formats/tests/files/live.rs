//! A recording read while it is written: a bad line is told with its number and leaves no trace.

use bedplate_formats::recording::{LiveLine, Reader, Sample};

use super::test_deck;

const HEAD: &[u8] = b"t_s,temperature_C,tilt_back_deg,H1,H2,H3,H4,F1,F2,F3\n";

/// Times of the samples, with their angle, and the first line of each message.
fn read(rows: &[u8]) -> (Vec<(f64, f64)>, Vec<String>) {
    let deck = test_deck();
    let text = [HEAD, rows].concat();
    let mut reader = Reader::new("rec.csv", text.as_slice(), &deck).unwrap();
    let (mut good, mut bad, mut sample) = (Vec::new(), Vec::new(), Sample::default());
    loop {
        match reader.next_live(&mut sample).unwrap() {
            LiveLine::Sample => good.push((sample.t_s, sample.tilt_deg[0])),
            LiveLine::Bad(problems) => bad.push(problems.to_string().lines().next().unwrap().to_owned()),
            LiveLine::End => return (good, bad),
        }
    }
}

#[test]
fn each_bad_line_is_told_and_the_next_is_read() {
    let mut rows = b"0,22,1.5,1,2,3,4,5,6,7\n".to_vec();
    rows.extend(b"0.1,22,9,1,x,3,4,5,6,7\n"); // line 3: no number; its angle is not taken over
    rows.extend(b"0.2,22,,1,2,3,4,5,6,7\n");
    rows.extend(b"0.3,22,1.5,1,2,3\n"); // line 5: torn
    rows.extend(b"\n"); // an empty line is passed over
    rows.extend(b"0.4,22,1.5,\"1,2,3,4,5,6,7\n"); // line 7: a quotation mark takes nothing after it along
    rows.extend(b"0.5,22,2,1,2,3,4,5,6,7\r\n");
    rows.extend(b"900,\xff\xfe,2,1,2,3,4,5,6,7\n"); // line 9: noise on the line; its time is not taken over
    rows.extend(b"1e9,22,2,1,2,3,4,5,,oh\n"); // line 10: nor here
    rows.extend(b"0.5,22,2,1,2,3,4,5,6,7\n"); // line 11: no time forward
    rows.extend(b"0.6,22,2,1,2,3,4,5,6,7"); // without its end: the last line of a file may be
    let (good, bad) = read(&rows);
    assert_eq!(good, [(0.0, 1.5), (0.2, 1.5), (0.5, 2.0), (0.6, 2.0)]);
    let lines: Vec<&str> = bad.iter().map(|text| text.split(':').nth(1).unwrap_or_default()).collect();
    assert_eq!(lines, ["3", "5", "7", "9", "10", "11"], "{bad:?}");
    assert!(bad[5].contains("after 0.5 s of line 8"), "{}", bad[5]);
}

#[test]
fn a_line_that_does_not_end_takes_no_memory_and_spoils_no_other() {
    let mut rows = b"0,22,1.5,1,2,3,4,5,6,7\n".to_vec();
    rows.extend(std::iter::repeat_n(b'9', 3_000_000));
    rows.extend(b"\n0.1,22,1.5,1,2,3,4,5,6,7\n");
    let (good, bad) = read(&rows);
    assert_eq!(good.len(), 2);
    assert_eq!(bad, ["rec.csv:3: found a row longer than a megabyte, expected rows of ordinary length"]);
}

/// Whole files are read alike by both ways.
#[test]
fn what_is_right_is_read_as_ever() {
    let text = include_bytes!("../data/recording.csv").as_slice();
    let deck = test_deck();
    let (mut whole, mut live) = (Reader::new("a", text, &deck).unwrap(), Reader::new("a", text, &deck).unwrap());
    let (mut a, mut b) = (Sample::default(), Sample::default());
    while whole.next_sample(&mut a).unwrap() {
        assert!(matches!(live.next_live(&mut b).unwrap(), LiveLine::Sample));
        assert_eq!(a, b);
    }
    assert!(matches!(live.next_live(&mut b).unwrap(), LiveLine::End));
}
