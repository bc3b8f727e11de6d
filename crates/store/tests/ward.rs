//! One suite for both databases: what holds on SQLite holds on PostgreSQL.

mod ward {
    pub(crate) mod faults;
    pub(crate) mod place;
    pub(crate) mod suite;
}

/// Makes a test of each database of a function that takes a place.
macro_rules! on_both {
    ($($name:ident),* $(,)?) => {
        mod sqlite {
            $(#[test]
            fn $name() {
                let place = super::ward::place::Place::sqlite();
                super::ward::suite::$name(&place);
            })*
        }
        #[cfg(feature = "postgresql-tests")]
        mod postgresql {
            $(#[test]
            fn $name() {
                let place = super::ward::place::Place::postgresql(stringify!($name));
                super::ward::suite::$name(&place);
            })*
        }
    };
}

on_both![
    what_was_kept_comes_back,
    a_correction_hides_what_it_corrects_and_both_stay,
    a_withdrawal_hides_both,
    a_correction_that_does_not_fit_is_refused,
    the_same_act_is_kept_once,
    one_beds_refused_job_does_not_stop_anothers,
    many_beds_share_commits_and_every_chain_is_whole,
    an_edit_from_outside_shows,
    a_removed_tail_shows_against_a_noted_end,
    every_other_change_shows,
    what_is_no_entry_any_more_is_a_break_of_its_chain_alone,
    readings_are_reduced_to_minutes,
    a_long_past_is_reduced_hour_by_hour,
    counts_come_back_and_are_reduced,
    migration_is_taken_once_and_a_later_form_is_refused,
    hostile_text_is_kept_as_it_is,
    an_entry_replaces_another_that_has_no_number_yet,
    a_beds_state_has_two_places_and_comes_with_what_it_belongs_to,
];

/// What travels to a PostgreSQL.
#[cfg(feature = "postgresql-tests")]
mod encrypted {
    use super::ward::{place::Place, suite};
    use bedplate_store::sql;

    #[test]
    fn records_travel_encrypted_to_a_server_that_its_authority_vouches_for() {
        let place = Place::encrypted("records_travel_encrypted");
        suite::what_was_kept_comes_back(&place);
        let mut database = place.open();
        // PostgreSQL 15, 28.2.6: pg_stat_ssl says of each connection whether it is encrypted.
        let question = "select version::text from pg_stat_ssl where pid = pg_backend_pid() and ssl";
        let rows = database.look().unwrap().rows(question, &[]).unwrap();
        assert_eq!(rows.len(), 1);
        assert!(rows[0].text(0).unwrap().starts_with("TLSv1."), "{rows:?}");
    }

    #[test]
    fn a_server_of_another_authority_or_name_gets_no_records() {
        let good = std::env::var("BEDPLATE_TEST_POSTGRES_TLS").unwrap();
        for (bad, word) in [
            (good.replace("authority.pem", "stranger.pem"), "UnknownIssuer"),
            (good.replace("@localhost", "@127.0.0.1"), "not valid for name"),
        ] {
            let refused = sql::open(&bad).err().expect("it is refused").to_string();
            assert!(refused.contains(word), "{refused}");
        }
    }
}
