//! Signing in, passwords, accounts, and what the reader chooses.

use ::ward::access::Role;
use ::ward::access::secret::{self, PASSWORD_LEAST};
use maud::{Markup, html};

use super::frame::{self, guard};
use super::terms;
use crate::ward::answer::{Answer, Problem};
use crate::ward::api::session::change_password;
use crate::ward::call::Call;
use crate::ward::guard::COOKIE;
use crate::words::{LANGUAGE, Reader, UNIT};

/// A cookie of the session: for this server alone, out of reach of scripts, and over TLS where there is TLS.
fn cookie(call: &Call, name: &str, value: &str, seconds: u32) -> String {
    let secure = if call.is_secure { "; Secure" } else { "" };
    format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age={seconds}{secure}")
}

/// A working day and a bit: the session itself ends earlier.
const COOKIE_S: u32 = 24 * 3600;
const YEAR_S: u32 = 365 * 24 * 3600;

fn sign_in_form(reader: Reader, said: Option<&str>, account: Option<&str>) -> Markup {
    frame::bare(
        reader,
        reader.say("Sign in"),
        &html! {
            h1 { (reader.say("Sign in")) }
            @if let Some(said) = said { p.said role="alert" { (reader.problem(said)) } }
            form.stacked method="post" action="/sign-in" {
                label { (reader.say("Account")) input name="account" autocomplete="username" value=[account] required autofocus[account.is_none()]; }
                label { (reader.say("Password")) input name="password" type="password" autocomplete="current-password" required autofocus[account.is_some()]; }
                button { (reader.say("Sign in")) }
            }
            p { a href="/help" { (reader.say("Help")) } }
            form.choices method="post" action="/reader" {
                button.choice name="language" value="en" aria-pressed=(reader.tag() == "en") lang="en" { "English" }
                button.choice name="language" value="de" aria-pressed=(reader.tag() == "de") lang="de" { "Deutsch" }
            }
        },
    )
}

pub(super) fn sign_in_page(call: &Call) -> Result<Answer, Problem> {
    let said = "The password was changed: sign in with the new one.";
    Ok(Answer::Page(sign_in_form(call.reader, call.query.contains_key("changed").then_some(said), None)))
}

pub(super) fn sign_in(call: &Call) -> Result<Answer, Problem> {
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", String::as_str);
    match call.access().sign_in(field("account"), field("password")) {
        Ok(signed) => {
            tracing::info!(account = field("account"), caller = %call.caller, "signed in");
            let to = if signed.session.must_change { "/password" } else { "/" };
            Ok(Answer::Go { to: to.into(), cookie: Some(cookie(call, COOKIE, &signed.token, COOKIE_S)) })
        }
        Err(error) => {
            let problem = Problem::from(error);
            // Not the name: in a hurry a password is typed there.
            tracing::warn!(caller = %call.caller, detail = problem.detail, "not signed in");
            Ok(Answer::Page(sign_in_form(call.reader, Some(&problem.detail), Some(field("account")))))
        }
    }
}

pub(super) fn sign_out(call: &Call) -> Result<Answer, Problem> {
    if let Some(token) = &call.token {
        call.access().sign_out(token)?;
    }
    Ok(Answer::Go { to: "/sign-in".into(), cookie: Some(cookie(call, COOKIE, "", 0)) })
}

fn password_form(call: &Call, said: Option<&str>) -> Markup {
    let reader = call.reader;
    frame::bare(
        reader,
        reader.say("Choose a password"),
        &html! {
            h1 { (reader.say("Choose a password")) }
            p { (reader.say("At least 15 characters; a few plain words are easier to type and harder to guess than signs.")) }
            @if let Some(said) = said { p.said role="alert" { (reader.problem(said)) } }
            form.stacked method="post" action="/password" {
                (guard(call))
                label { (reader.say("Password until now")) input name="old" type="password" autocomplete="current-password" required autofocus; }
                label { (reader.say("New password")) input name="new" type="password" autocomplete="new-password" minlength=(PASSWORD_LEAST) required; }
                button { (reader.say("Change it")) }
            }
        },
    )
}

pub(super) fn password_page(call: &Call) -> Result<Answer, Problem> {
    Ok(Answer::Page(password_form(call, None)))
}

pub(super) fn password(call: &Call) -> Result<Answer, Problem> {
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", String::as_str);
    match change_password(call, field("old"), field("new")) {
        Ok(()) => Ok(Answer::Go { to: "/sign-in?changed".into(), cookie: Some(cookie(call, COOKIE, "", 0)) }),
        Err(problem) => Ok(Answer::Page(password_form(call, Some(&problem.detail)))),
    }
}

pub(super) fn reader(call: &Call) -> Result<Answer, Problem> {
    let form = call.form();
    let chosen = match (form.get("language").map(String::as_str), form.get("unit").map(String::as_str)) {
        (Some(language @ ("en" | "de")), _) => Some((LANGUAGE, language)),
        (_, Some(unit @ ("kg" | "lb"))) => Some((UNIT, unit)),
        _ => None,
    };
    let to = crate::layout::back(form.get("back").map(String::as_str)).to_owned();
    Ok(Answer::Go { to, cookie: chosen.map(|(name, value)| cookie(call, name, value, YEAR_S)) })
}

pub(super) fn accounts(call: &Call) -> Result<Answer, Problem> {
    page(call, None, None)
}

/// The page of accounts; `made` is the account, with its role, that could not be made as it was typed.
fn page(call: &Call, said: Option<&str>, made: Option<(&str, Role)>) -> Result<Answer, Problem> {
    let reader = call.reader;
    let accounts = call.access().all()?;
    let roles = |chosen: Option<Role>| {
        html! {
            select name="role" aria-label=(reader.say("Role")) {
                @for role in Role::ALL { option value=(role.word()) selected[chosen == Some(role)] { (terms::role(reader, role.word())) } }
            }
        }
    };
    let main = html! {
        header.title { h1 { (reader.say("Accounts")) } }
        @if let Some(said) = said { p.said role="alert" { (reader.problem(said)) } }
        section.panel {
            h2 { (reader.say("All accounts")) }
            div.scroll tabindex="0" role="region" aria-label=(reader.say("All accounts")) { table {
                thead { tr { th scope="col" { (reader.say("Account")) } th.words scope="col" { (reader.say("Change it")) } } }
                tbody {
                    @for (name, account) in &accounts {
                        tr {
                            th scope="row" { (name) }
                            td.words {
                                form.inline method="post" action=(format!("/accounts/{name}")) {
                                    (guard(call))
                                    (roles(Some(account.role)))
                                    label.inline { input type="checkbox" name="closed" value="yes" checked[account.closed]; (reader.say("closed")) }
                                    input name="password" type="password" autocomplete="new-password" placeholder=(reader.say("New password")) aria-label=(reader.say("New password"));
                                    button { (reader.say("Change it")) }
                                }
                            }
                        }
                    }
                }
            } }
        }
        section.panel {
            h2 { (reader.say("A new account")) }
            form.stacked method="post" action="/accounts" {
                (guard(call))
                label { (reader.say("Account")) input name="account" pattern="[a-z0-9._\\-]{1,40}" value=[made.map(|(name, _)| name)] required; }
                label { (reader.say("Role")) (roles(made.map(|(_, role)| role))) }
                label { (reader.say("Password")) input name="password" type="password" autocomplete="new-password" minlength=(PASSWORD_LEAST) required; }
                button { (reader.say("Make it")) }
            }
        }
    };
    Ok(Answer::Page(frame::page(call, "/accounts", reader.say("Accounts"), "ward", &main)))
}

fn role_of(word: Option<&String>) -> Result<Role, Problem> {
    let word = word.map_or("", String::as_str);
    Role::of(word).ok_or_else(|| Problem::bad("role", word, "viewer, nurse, engineer or administrator"))
}

pub(super) fn make(call: &Call) -> Result<Answer, Problem> {
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", String::as_str);
    let role = role_of(form.get("role"))?;
    match call.access().make(field("account"), role, field("password"), call.by()) {
        Ok(()) => Ok(Answer::go("/accounts")),
        Err(error) => page(call, Some(&Problem::from(error).detail), Some((field("account"), role))),
    }
}

pub(super) fn change(call: &Call) -> Result<Answer, Problem> {
    let form = call.form();
    let name = call.part("account");
    let password = form.get("password").filter(|p| !p.is_empty());
    let closed = form.get("closed").is_some_and(|c| c == "yes");
    let access = call.access();
    let role = role_of(form.get("role"))?;
    // What would be refused at the end is refused before anything has changed.
    let changed = password.map_or(Ok(()), |password| secret::may_be(name, password)).and_then(|()| {
        access.change(name, role, closed, call.by())?;
        password.map_or(Ok(()), |password| access.set_password(name, password, call.by()))
    });
    match changed {
        Ok(()) => Ok(Answer::go("/accounts")),
        Err(error) => page(call, Some(&Problem::from(error).detail), None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_asks_for_what_the_ward_takes() {
        let asked = format!("At least {PASSWORD_LEAST} characters");
        assert!(include_str!("account.rs").contains(&asked), "the form says another length");
    }
}
