//! How people write fluids down: pumps each hour, urine each hour to the marks of the chamber, bags each shift, cups in
//! fifties, with favourite digits, forgotten and late entries, and now and then one twice or on the wrong side.
//!
//! The shares are own choices, set so that a day's charted balance is off by the order of the published spread between
//! balance and weight (SD about 1 kg a day, of which the chart is a part; from memory), and labelled so.

use formats::chart::{Direction, Entry, Route};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use super::course::{Course, STEP_S, Source, Stream};
use super::regimen::Way;
use crate::chance::Chance;

/// Habits of those who chart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Habits {
    /// Urine is read to this, mL.
    pub urine_mark_ml: f64,
    /// Bags are read to this, mL.
    pub bag_mark_ml: f64,
    /// Cups are guessed to this, mL.
    pub cup_mark_ml: f64,
    /// Hours between readings of a bag.
    pub bag_every_h: f64,
    /// Share of read volumes that go to the nearest round number (ten times as coarse).
    pub favourite_digits: f64,
    /// Share of entries that are never written.
    pub forgotten: f64,
    /// Mean delay of an entry, min.
    pub late_min: f64,
    /// Share of entries written twice.
    pub twice: f64,
    /// Share of entries written on the wrong side.
    pub wrong_side: f64,
    /// Share of entries ten times too large.
    pub slipped_point: f64,
    /// Relative error of what is guessed (stool, cups): standard deviation.
    pub guess_sd: f64,
}

impl Default for Habits {
    fn default() -> Self {
        Self {
            urine_mark_ml: 5.0,
            bag_mark_ml: 10.0,
            cup_mark_ml: 50.0,
            bag_every_h: 6.0,
            favourite_digits: 0.15,
            forgotten: 0.01,
            late_min: 4.0,
            twice: 0.0,
            wrong_side: 0.0,
            slipped_point: 0.0,
            guess_sd: 0.25,
        }
    }
}

impl Habits {
    /// One who forgets nothing and rounds to the mark alone.
    #[must_use]
    pub fn careful() -> Self {
        Self { favourite_digits: 0.0, forgotten: 0.0, late_min: 0.0, guess_sd: 0.0, ..Self::default() }
    }
}

/// What went wrong with an entry.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Slip {
    /// When the fluid began to flow, s from the start.
    pub from_s: f64,
    /// When it had flowed, s from the start.
    pub t_s: f64,
    /// By which way.
    pub way: Way,
    /// True volume, mL.
    pub ml: f64,
    /// What happened to it.
    pub kind: SlipKind,
}

/// Kinds of slips.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SlipKind {
    /// Never written.
    Forgotten,
    /// Written twice.
    Twice,
    /// Intake as output or the other way.
    WrongSide,
    /// Ten times too large.
    SlippedPoint,
}

/// A chart, and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Charted {
    /// Entries in the order of time.
    pub entries: Vec<Entry>,
    /// What truly happened and was not written so.
    pub slips: Vec<Slip>,
}

/// One volume that someone is about to write.
struct Reading<'a> {
    from_s: f64,
    t_s: f64,
    way: Way,
    intake: bool,
    leaves_deck: bool,
    ml: f64,
    mark_ml: f64,
    guessed: bool,
    note: &'a str,
}

/// Writes the chart of a course that began at `start`.
#[must_use]
pub fn chart(course: &Course, habits: &Habits, start: Timestamp, chance: &mut Chance) -> Charted {
    let mut writer = Writer { habits, start, charted: Charted::default(), chance };
    for stream in &course.streams {
        writer.stream(stream);
    }
    for given in &course.given {
        let guessed = given.way == Way::Oral;
        writer.write(&Reading {
            from_s: given.from_s,
            t_s: given.done_s,
            way: given.way,
            intake: true,
            leaves_deck: true,
            ml: given.ml,
            mark_ml: if guessed { habits.cup_mark_ml } else { 1.0 },
            guessed,
            note: if guessed { "cup" } else { "" },
        });
    }
    let mut charted = writer.charted;
    charted.entries.sort_by_key(|e| e.time);
    drop_chance_duplicates(&mut charted.entries);
    for (i, entry) in charted.entries.iter_mut().enumerate() {
        entry.line = i + 2;
    }
    charted
}

/// Two pumps set alike and read at the same minute would give the same row, which a chart may not hold: the second
/// reading is a minute later, as it would be by hand.
fn drop_chance_duplicates(entries: &mut [Entry]) {
    for i in 1..entries.len() {
        while entries[..i].iter().rev().take(40).any(|e| same_row(e, &entries[i])) {
            entries[i].time += SignedDuration::from_mins(1);
        }
    }
    entries.sort_by_key(|e| e.time);
}

fn same_row(a: &Entry, b: &Entry) -> bool {
    a.time == b.time
        && a.direction == b.direction
        && a.route == b.route
        && a.volume_ml.total_cmp(&b.volume_ml).is_eq()
        && a.note == b.note
}

struct Writer<'a> {
    habits: &'a Habits,
    start: Timestamp,
    charted: Charted,
    chance: &'a mut Chance,
}

impl Writer<'_> {
    fn stream(&mut self, stream: &Stream) {
        let (every_h, mark_ml, guessed, note) = match stream.source {
            Source::Pump => (1.0, 1.0, false, ""),
            Source::Kidney if stream.leaves_deck => (1.0, self.habits.urine_mark_ml, false, ""),
            Source::Kidney => (4.0, self.habits.urine_mark_ml, false, "nappy weighed"),
            Source::Bag => (self.habits.bag_every_h, self.habits.bag_mark_ml, false, ""),
            Source::Pad => (1.0, self.habits.cup_mark_ml, true, "guessed"),
            Source::Hidden => return,
        };
        let per_reading = (every_h * 3600.0 / STEP_S) as usize;
        let n = stream.total_ml.len();
        let mut carried = 0.0;
        for end in (per_reading..n).step_by(per_reading) {
            let ml = (stream.total_ml[end] - stream.total_ml[end - per_reading]) * stream.shown_over_true;
            // What does not reach a mark stays in the chamber and is read with the next.
            let held = ml + carried;
            let read = if stream.source == Source::Kidney || stream.source == Source::Bag {
                (held / mark_ml).floor() * mark_ml
            } else {
                held
            };
            carried = held - read;
            if read > 0.0 {
                self.write(&Reading {
                    from_s: (end - per_reading) as f64 * STEP_S,
                    t_s: end as f64 * STEP_S,
                    way: stream.way,
                    intake: stream.intake,
                    leaves_deck: stream.leaves_deck,
                    ml: read,
                    mark_ml,
                    guessed,
                    note,
                });
            }
        }
    }

    fn write(&mut self, reading: &Reading<'_>) {
        if reading.ml < 0.5 {
            return;
        }
        let habits = self.habits;
        let mut slip = |kind| {
            self.charted.slips.push(Slip {
                from_s: reading.from_s,
                t_s: reading.t_s,
                way: reading.way,
                ml: reading.ml,
                kind,
            });
        };
        // All draws are made for every entry, so that a changed share moves no other entry.
        let forgotten = self.chance.happens(habits.forgotten);
        let twice = self.chance.happens(habits.twice);
        let wrong_side = self.chance.happens(habits.wrong_side);
        let slipped = self.chance.happens(habits.slipped_point);
        let favourite = self.chance.happens(habits.favourite_digits);
        let guess = self.chance.normal();
        let late_s = self.chance.waiting(60.0 * habits.late_min);
        if forgotten {
            slip(SlipKind::Forgotten);
            return;
        }
        let mut ml = reading.ml * if reading.guessed { (1.0 + habits.guess_sd * guess).max(0.1) } else { 1.0 };
        let mark = reading.mark_ml
            * if favourite && reading.mark_ml > 1.0 && ml > 10.0 * reading.mark_ml { 10.0 } else { 1.0 };
        ml = ((ml / mark).round() * mark).max(reading.mark_ml);
        if slipped {
            slip(SlipKind::SlippedPoint);
            ml *= 10.0;
        }
        if wrong_side {
            slip(SlipKind::WrongSide);
        }
        let minutes = ((reading.t_s + late_s) / 60.0).round() as i64;
        let entry = Entry {
            line: 0,
            time: self.start + SignedDuration::from_mins(minutes),
            direction: if reading.intake == wrong_side { Direction::Output } else { Direction::Intake },
            route: route(reading.way),
            volume_ml: ml,
            leaves_deck: reading.leaves_deck,
            note: reading.note.to_owned(),
        };
        if twice {
            slip(SlipKind::Twice);
            let again = SignedDuration::from_mins(1 + (self.chance.waiting(20.0)) as i64);
            self.charted.entries.push(Entry { time: entry.time + again, ..entry.clone() });
        }
        self.charted.entries.push(entry);
    }
}

fn route(way: Way) -> Route {
    match way {
        Way::Iv => Route::Iv,
        Way::Oral => Route::Oral,
        Way::Enteral => Route::Enteral,
        Way::Blood => Route::Blood,
        Way::Urine => Route::Urine,
        Way::Drain => Route::Drain,
        Way::Stool => Route::Stool,
        Way::Gastric => Route::Gastric,
        Way::Ultrafiltrate => Route::Ultrafiltrate,
        Way::Other => Route::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::super::metabolism::Physique;
    use super::super::{Story, live, tell};
    use super::*;
    use formats::patient::Ventilation;

    fn course(hours: f64) -> Course {
        let physique = Physique {
            mass_kg: 74.0,
            height_mm: 1720.0,
            temperature_c: 37.6,
            ventilated: Ventilation::Humidified,
            burned_share: 0.0,
        };
        let mut chance = Chance::stream(9, "fluid");
        let regimen = tell(Story::Resuscitation, &physique, hours, &mut chance);
        live(&physique, &regimen, hours, &[], &mut chance)
    }

    fn total(entries: &[Entry], direction: Direction) -> f64 {
        entries.iter().filter(|e| e.direction == direction).map(|e| e.volume_ml).sum()
    }

    fn write(habits: &Habits) -> Charted {
        chart(&course(24.0), habits, Timestamp::UNIX_EPOCH, &mut Chance::stream(9, "chart"))
    }

    #[test]
    fn a_careful_chart_holds_what_flowed_to_the_marks() {
        let course = course(24.0);
        let charted = write(&Habits::careful());
        let true_in: f64 = course
            .streams
            .iter()
            .filter(|s| s.intake)
            .map(|s| s.total_ml.last().unwrap() * s.shown_over_true)
            .sum::<f64>()
            + course.given.iter().filter(|g| g.done_s <= 86_400.0).map(|g| g.ml).sum::<f64>();
        // Each of about 130 entries is written to the millilitre.
        let late: f64 = course.given.iter().filter(|g| g.done_s > 86_400.0).map(|g| g.ml).sum();
        assert!((total(&charted.entries, Direction::Intake) - late - true_in).abs() < 40.0);
        let urine: f64 = charted.entries.iter().filter(|e| e.route == Route::Urine).map(|e| e.volume_ml).sum();
        let true_urine = course.streams.iter().find(|s| s.source == Source::Kidney).unwrap().total_ml.last().unwrap();
        assert!(
            (0.0..5.0).contains(&(true_urine - urine)),
            "the chamber keeps less than a mark: {}",
            true_urine - urine
        );
        assert!(charted.slips.is_empty());
    }

    #[test]
    fn slips_are_told_and_change_the_totals_by_what_they_say() {
        let careful = write(&Habits::careful());
        let forgetful = write(&Habits { forgotten: 0.2, ..Habits::careful() });
        let forgotten: f64 = forgetful.slips.iter().filter(|s| s.way == Way::Urine).map(|s| s.ml).sum();
        let urine =
            |c: &Charted| c.entries.iter().filter(|e| e.route == Route::Urine).map(|e| e.volume_ml).sum::<f64>();
        assert!(forgotten > 0.0);
        assert!((urine(&careful) - urine(&forgetful) - forgotten).abs() < 1e-9);
        let slipped = write(&Habits { slipped_point: 0.1, ..Habits::careful() });
        let by_slips: f64 = slipped.slips.iter().map(|s| 9.0 * s.ml).sum();
        let whole = |c: &Charted| total(&c.entries, Direction::Intake) + total(&c.entries, Direction::Output);
        // A volume is written to the millilitre (bags and urine to their marks already), then ten times as large.
        let rounding = 5.0 * slipped.slips.len() as f64;
        assert!(by_slips > 0.0);
        assert!((whole(&slipped) - whole(&careful) - by_slips).abs() <= rounding, "{by_slips}");
    }

    #[test]
    fn entries_stand_in_the_order_of_time_and_no_row_stands_twice() {
        let charted = write(&Habits::default());
        for pair in charted.entries.windows(2) {
            assert!(pair[0].time <= pair[1].time);
            assert!(!same_row(&pair[0], &pair[1]));
        }
        // Urine and two pumps each hour for a day.
        assert!(charted.entries.len() >= 70, "{}", charted.entries.len());
    }

    #[test]
    fn favourite_digits_gather_at_round_volumes() {
        let round = |habits: &Habits| {
            let charted = write(habits);
            let urine: Vec<_> =
                charted.entries.iter().filter(|e| e.route == Route::Urine && e.volume_ml > 50.0).collect();
            urine.iter().filter(|e| e.volume_ml % 50.0 < 1e-9).count() as f64 / urine.len().max(1) as f64
        };
        assert!(round(&Habits { favourite_digits: 1.0, ..Habits::careful() }) > 0.99);
        assert!(round(&Habits::careful()) < 0.5);
    }
}
