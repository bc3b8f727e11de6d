//! Accounts, roles and sessions, as they are kept.

use std::sync::Mutex;

use bedplate_ward::access::limits::{FAILURES_MOST, Failures, SHUT_US};
use bedplate_ward::access::{Access, AccessError, Right, Role, Seen};
use bedplate_ward::memory::Memory;
use store::StoreError;
use store::entry::Kind;
use store::journal::{self, Query};
use store::sessions;

const PASSWORD: &str = "plain words, and enough of them";
const HOUR_US: i64 = 3_600_000_000;

struct Ward {
    memory: Memory,
    failures: Mutex<Failures>,
    folder: tempfile::TempDir,
}

impl Ward {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("ward.db");
        let memory = Memory::open(place.to_str().unwrap(), Box::new(|| 0)).unwrap();
        Self { memory, failures: Mutex::default(), folder }
    }

    fn at(&self, now_us: i64) -> Access<'_> {
        Access::new(&self.memory, &self.failures, now_us)
    }

    /// With one account of each role, whose passwords are their own.
    fn staffed() -> Self {
        let ward = Self::new();
        for role in Role::ALL {
            ward.at(0).make(role.word(), role, PASSWORD, "test").unwrap();
            ward.at(0).set_password(role.word(), PASSWORD, role.word()).unwrap();
        }
        ward
    }
}

#[test]
fn the_first_start_makes_one_administrator_whose_secret_is_told_once() {
    let ward = Ward::new();
    let (name, password) = ward.at(0).first_start().unwrap().unwrap();
    assert_eq!(ward.at(0).first_start().unwrap(), None);
    let signed_in = ward.at(0).sign_in(name, &password).unwrap();
    assert_eq!((signed_in.session.role, signed_in.session.must_change), (Role::Administrator, true));
    ward.at(0).set_password(name, PASSWORD, name).unwrap();
    assert_eq!(ward.at(0).sign_in(name, &password), Err(AccessError::NotKnown), "the secret still opens");
    assert!(!ward.at(0).sign_in(name, PASSWORD).unwrap().session.must_change);
}

#[test]
fn a_session_lasts_a_shift_from_its_last_use_and_ends_when_told() {
    let ward = Ward::staffed();
    let token = ward.at(0).sign_in("nurse", PASSWORD).unwrap().token;
    assert_eq!(ward.at(0).session(&token).unwrap().account, "nurse");
    assert!(ward.at(11 * HOUR_US).session(&token).is_ok());
    assert!(ward.at(22 * HOUR_US).session(&token).is_ok(), "use did not move the end on");
    assert_eq!(ward.at(35 * HOUR_US).session(&token), Err(AccessError::NoSession));
    let token = ward.at(0).sign_in("nurse", PASSWORD).unwrap().token;
    ward.at(0).sign_out(&token).unwrap();
    assert_eq!(ward.at(0).session(&token), Err(AccessError::NoSession));
    assert_eq!(ward.at(0).session("rubbish"), Err(AccessError::NoSession));
}

#[test]
fn sessions_survive_a_restart() {
    let ward = Ward::staffed();
    let token = ward.at(0).sign_in("nurse", PASSWORD).unwrap().token;
    let Ward { memory, folder, .. } = ward;
    drop(memory);
    let place = folder.path().join("ward.db");
    let memory = Memory::open(place.to_str().unwrap(), Box::new(|| 0)).unwrap();
    let again = Ward { memory, failures: Mutex::default(), folder };
    assert_eq!(again.at(0).session(&token).unwrap().account, "nurse");
}

#[test]
fn a_new_role_a_new_password_and_a_closed_account_end_its_sessions() {
    let ward = Ward::staffed();
    let begin = |name| ward.at(0).sign_in(name, PASSWORD).unwrap().token;
    let (nurse, viewer, engineer) = (begin("nurse"), begin("viewer"), begin("engineer"));
    ward.at(0).change("nurse", Role::Viewer, false, "administrator").unwrap();
    ward.at(0).change("viewer", Role::Viewer, true, "administrator").unwrap();
    ward.at(0).set_password("engineer", "other words, and enough too", "administrator").unwrap();
    for token in [nurse, viewer, engineer] {
        assert_eq!(ward.at(0).session(&token), Err(AccessError::NoSession));
    }
    assert_eq!(ward.at(0).sign_in("nurse", PASSWORD).unwrap().session.role, Role::Viewer);
    assert_eq!(ward.at(0).sign_in("viewer", PASSWORD), Err(AccessError::NotKnown));
    assert!(ward.at(0).sign_in("engineer", "other words, and enough too").unwrap().session.must_change);
}

#[test]
fn the_last_administrator_stays() {
    let ward = Ward::staffed();
    let refused = ward.at(0).change("administrator", Role::Nurse, false, "administrator");
    assert_eq!(refused, Err(AccessError::LastAdministrator { name: "administrator".to_owned() }));
    assert!(ward.at(0).change("administrator", Role::Administrator, true, "administrator").is_err());
    ward.at(0).change("engineer", Role::Administrator, false, "administrator").unwrap();
    ward.at(0).change("administrator", Role::Nurse, false, "engineer").unwrap();
}

#[test]
fn an_account_that_is_guessed_at_is_shut_even_for_the_right_password_and_that_is_on_record() {
    let ward = Ward::staffed();
    for _ in 0..FAILURES_MOST {
        assert_eq!(ward.at(0).sign_in("nurse", "wrong"), Err(AccessError::NotKnown));
    }
    assert!(matches!(ward.at(1).sign_in("nurse", PASSWORD), Err(AccessError::Shut { minutes: 15 })));
    assert!(ward.at(1).sign_in("viewer", PASSWORD).is_ok());
    assert!(ward.at(SHUT_US).sign_in("nurse", PASSWORD).is_ok());
    let query = Query { kind: Some(Kind::Event), ..Query::default() };
    let events = ward.memory.look(|tx| journal::entries(tx, &query)).unwrap();
    assert_eq!(events.iter().map(|e| e.new.subject.as_str()).collect::<Vec<_>>(), ["nurse"]);
}

#[test]
fn a_name_that_is_not_there_and_a_wrong_password_get_the_same_answer() {
    let ward = Ward::staffed();
    let nobody = ward.at(0).sign_in("nobody", PASSWORD).unwrap_err();
    assert_eq!(nobody, ward.at(0).sign_in("nurse", "wrong").unwrap_err());
}

#[test]
fn names_are_checked() {
    let ward = Ward::staffed();
    for name in ["", "Nurse", "a b", "<script>", "nurse", &"x".repeat(41)] {
        let refused = ward.at(0).make(name, Role::Viewer, PASSWORD, "test");
        assert!(matches!(refused, Err(AccessError::Name { .. })), "{name}");
    }
}

#[test]
fn no_password_lies_in_the_memory_in_clear() {
    let ward = Ward::staffed();
    let token = ward.at(0).sign_in("nurse", PASSWORD).unwrap().token;
    let Ward { memory, folder, .. } = ward;
    drop(memory);
    for file in std::fs::read_dir(folder.path()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        for secret in [PASSWORD.as_bytes(), token.as_bytes()] {
            assert!(!bytes.windows(secret.len()).any(|w| w == secret));
        }
    }
}

#[test]
fn each_role_may_what_it_is_for() {
    let table = [
        (Role::Viewer, [true, false, false]),
        (Role::Nurse, [true, true, false]),
        (Role::Engineer, [true, true, false]),
        (Role::Administrator, [true, false, true]),
    ];
    for (role, expected) in table {
        let found = [Right::See, Right::Care, Right::Manage].map(|right| role.may(right));
        assert_eq!(found, expected, "{role:?}");
    }
}

/// Takes the memory away, from new readers and from those that wait.
fn take_away(ward: &Ward) {
    std::fs::remove_dir_all(ward.folder.path()).unwrap();
    for _ in 0..9 {
        assert!(ward.memory.look(|_| Err::<(), _>(StoreError::Closed)).is_err());
    }
    assert!(ward.memory.look(|tx| sessions::find(tx, &[1])).unwrap_err().is_passing());
}

#[test]
fn who_is_signed_in_stays_so_while_the_memory_is_away_and_nobody_else_comes_in() {
    let ward = Ward::staffed();
    let seen = Mutex::new(Seen::default());
    let at = |now_us| ward.at(now_us).remembering(&seen);
    let [nurse, leaver, changed, unseen] =
        ["nurse", "viewer", "engineer", "administrator"].map(|name| at(0).sign_in(name, PASSWORD).unwrap().token);
    for token in [&nurse, &leaver, &changed] {
        at(0).session(token).unwrap();
    }
    at(0).set_password("engineer", PASSWORD, "engineer").unwrap();
    take_away(&ward);
    for now_us in [1, HOUR_US, 11 * HOUR_US] {
        assert_eq!(at(now_us).session(&nurse).unwrap().role, Role::Nurse);
    }
    assert!(matches!(at(1).session("no token"), Err(AccessError::Store(_))));
    assert!(matches!(at(1).session(&unseen), Err(AccessError::Store(_))), "never shown since it began");
    assert!(matches!(at(1).sign_in("nurse", PASSWORD), Err(AccessError::Store(_))));
    // Without one who remembers nobody is known.
    assert!(matches!(ward.at(1).session(&nurse), Err(AccessError::Store(_))));
    // Who leaves has left, and what a new password ended stays ended.
    assert!(at(1).sign_out(&leaver).is_err());
    assert!(at(1).session(&leaver).is_err());
    assert!(at(1).session(&changed).is_err());
    assert!(at(12 * HOUR_US).session(&nurse).is_err(), "a session ends by itself all the same");
}

#[test]
fn what_can_be_no_name_is_neither_remembered_nor_written_down() {
    let ward = Ward::staffed();
    let entries = || ward.memory.look(|tx| journal::entries(tx, &Query::default())).unwrap().len();
    let before = entries();
    let long = "a".repeat(200_000);
    for text in [long.as_str(), "Plain Words Typed Here", "", "nobody-here"] {
        for _ in 0..=FAILURES_MOST {
            assert!(ward.at(0).sign_in(text, PASSWORD).is_err());
        }
        // Only of accounts is it on record that they were shut.
        assert_eq!(entries(), before, "{text:.20}");
    }
    assert!(!format!("{:?}", ward.failures).contains("Plain Words"), "a password may be typed there");
    for _ in 0..FAILURES_MOST {
        assert_eq!(ward.at(0).sign_in("nurse", "wrong words, all of them").err(), Some(AccessError::NotKnown));
    }
    assert_eq!(entries(), before + 1);
}

#[test]
fn a_session_begun_by_an_old_password_is_none_once_the_new_one_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let clock = std::sync::Arc::new(std::sync::atomic::AtomicI64::new(0));
    let now = std::sync::Arc::clone(&clock);
    let place = folder.path().join("ward.db");
    let memory =
        Memory::open(place.to_str().unwrap(), Box::new(move || now.load(std::sync::atomic::Ordering::SeqCst))).unwrap();
    let ward = Ward { memory, failures: Mutex::default(), folder };
    ward.at(0).make("nurse", Role::Nurse, PASSWORD, "test").unwrap();
    let signed = ward.at(5).sign_in("nurse", PASSWORD).unwrap();
    assert!(ward.at(6).session(&signed.token).is_ok());
    // The new password is kept at 10, and the end of the sessions fails: the row stands still.
    clock.store(10, std::sync::atomic::Ordering::SeqCst);
    let rows =
        ward.memory.look(|tx| tx.rows("select token, account, guard, begun_us, ends_us from session", &[])).unwrap();
    ward.at(9).set_password("nurse", "other words, as plain", "nurse").unwrap();
    ward.memory
        .write(|tx| {
            let fields: Vec<_> = rows[0].0.iter().map(store::sql::Field::from).collect();
            tx.insert("session", &["token", "account", "guard", "begun_us", "ends_us"], &fields).map(drop)
        })
        .unwrap();
    assert_eq!(ward.at(11).session(&signed.token), Err(AccessError::NoSession));
    let anew = ward.at(12).sign_in("nurse", "other words, as plain").unwrap();
    assert!(ward.at(13).session(&anew.token).is_ok());
}

#[test]
fn an_account_that_was_made_while_the_clock_stood_ahead_can_be_used_once_it_is_right() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("ward.db");
    // The clock of the record stands a year ahead as the first administrator is made; then it is set right.
    let ahead_us = 365 * 24 * HOUR_US;
    let memory = Memory::open(place.to_str().unwrap(), Box::new(move || ahead_us)).unwrap();
    let ward = Ward { memory, failures: Mutex::default(), folder };
    let (name, password) = ward.at(ahead_us).first_start().unwrap().unwrap();
    let first = ward.at(5).sign_in(name, &password).unwrap();
    assert_eq!(ward.at(6).session(&first.token).unwrap().account, name);
    // Who signs in next ends nobody's session by the time that is to come.
    let second = ward.at(7).sign_in(name, &password).unwrap();
    assert!(ward.at(8).session(&first.token).is_ok() && ward.at(8).session(&second.token).is_ok());
    assert!(ward.at(8 + 12 * HOUR_US).session(&first.token).is_err(), "a session ends by itself all the same");
}
