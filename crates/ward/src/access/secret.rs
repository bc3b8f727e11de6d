//! Passwords and tokens.
//!
//! A password is kept as Argon2id (RFC 9106) with 19 MiB, two passes and one lane (the least that the OWASP Password
//! Storage Cheat Sheet names), a token as its SHA-256: who reads the tables can sign in with neither.

use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher as _, PasswordVerifier as _, Version};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest as _, Sha256};

use super::AccessError;

const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;
const TOKEN_BYTES: usize = 32;
/// The shortest password (NIST SP 800-63B-4, 3.1.1.2: 15 characters where it is the only proof).
pub const PASSWORD_LEAST: usize = 15;
/// The longest, so that hashing it stays cheap.
pub const PASSWORD_MOST: usize = 256;

/// A random token of 256 bits, as text that fits a header or a URL.
///
/// # Errors
/// The system gives no random bytes.
pub fn token() -> Result<String, AccessError> {
    let mut bytes = [0; TOKEN_BYTES];
    getrandom::fill(&mut bytes).map_err(|_| AccessError::NoRandom)?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// What is kept of a token.
#[must_use]
pub fn of_token(token: &str) -> Vec<u8> {
    Sha256::digest(token.as_bytes()).to_vec()
}

/// Whether a password may be the one of an account.
///
/// # Errors
/// It is too short, too long, or the account's own name.
pub fn may_be(account: &str, password: &str) -> Result<(), AccessError> {
    let characters = password.chars().count();
    if !(PASSWORD_LEAST..=PASSWORD_MOST).contains(&characters) {
        return Err(AccessError::Password {
            why: format!("{characters} characters; a password has {PASSWORD_LEAST} to {PASSWORD_MOST}"),
        });
    }
    if password.to_lowercase().contains(&account.to_lowercase()) {
        return Err(AccessError::Password { why: "it holds the account's name".to_owned() });
    }
    Ok(())
}

/// What is kept of a password.
///
/// # Errors
/// As [`may_be`].
pub fn of_password(account: &str, password: &str) -> Result<String, AccessError> {
    may_be(account, password)?;
    hasher().hash_password(password.as_bytes()).map(|hash| hash.to_string()).map_err(|_| AccessError::NoRandom)
}

/// Whether a password is the one of which `kept` is kept.
#[must_use]
pub fn is_password(kept: &str, password: &str) -> bool {
    PasswordHash::new(kept).is_ok_and(|hash| hasher().verify_password(password.as_bytes(), &hash).is_ok())
}

fn hasher() -> Argon2<'static> {
    // The numbers are within what the algorithm takes; its own defaults are the same, should they ever not be.
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).unwrap_or_default();
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_known_again_and_kept_as_argon2id_with_salt() {
        let kept = of_password("nurse1", "four plain words here").unwrap();
        assert!(kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{kept}");
        assert!(is_password(&kept, "four plain words here"));
        assert!(!is_password(&kept, "four plain words herE"));
        assert_ne!(kept, of_password("nurse1", "four plain words here").unwrap(), "no salt");
        assert!(!is_password("", "x") && !is_password("$argon2id$rubbish", "x"));
    }

    #[test]
    fn weak_passwords_are_refused_with_the_reason() {
        assert!(of_password("nurse1", "short").unwrap_err().to_string().contains("15 to 256"));
        assert!(of_password("nurse1", &"x".repeat(257)).is_err());
        assert!(of_password("nurse1", "I am NURSE1 of ward 7").unwrap_err().to_string().contains("name"));
    }

    #[test]
    fn tokens_differ_and_their_kept_form_is_not_the_token() {
        let (one, two) = (token().unwrap(), token().unwrap());
        assert_ne!(one, two);
        assert_eq!(one.len(), 43);
        assert_ne!(of_token(&one), one.as_bytes());
    }
}
