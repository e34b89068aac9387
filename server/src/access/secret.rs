//! Secrets that stand for a right: random, shown once, kept as SHA-256. A fast hash is enough for them, since nobody
//! guesses 256 random bits; what people choose is hashed in `password.rs`.

use serde::{Deserialize, Deserializer};
use sha2::{Digest, Sha256};

use crate::problem::Problem;
use crate::represent::hex;

/// 256 random bits as 64 hexadecimal digits.
///
/// # Errors
/// The system gave no random numbers.
pub fn random() -> Result<String, Problem> {
    let mut bytes = [0u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| Problem::internal(&error))?;
    Ok(hex(&bytes))
}

/// What is kept of a secret.
pub fn digest(secret: &str) -> Vec<u8> {
    Sha256::digest(secret.as_bytes()).to_vec()
}

/// Whether two texts are the same, in a time that depends on their lengths alone.
pub fn same(left: &str, right: &str) -> bool {
    left.len() == right.len() && left.bytes().zip(right.bytes()).fold(0, |sum, (left, right)| sum | (left ^ right)) == 0
}

/// A secret in a body. It is printed nowhere: not by `Debug`, not in the complaint about a body that does not parse.
#[derive(Clone)]
pub struct Secret(pub String);

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret(***)")
    }
}

impl<'de> Deserialize<'de> for Secret {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match serde_json::Value::deserialize(deserializer) {
            Ok(serde_json::Value::String(text)) => Ok(Secret(text)),
            _ => Err(serde::de::Error::custom("a secret that is no text; send it between quotation marks")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_never_repeated() {
        let secret: Secret = serde_json::from_str("\"blue lagoon\"").unwrap();
        assert_eq!(format!("{secret:?}"), "Secret(***)");
        for body in ["73512", "[\"blue lagoon\"]", "{\"a\":\"blue lagoon\"}"] {
            let said = serde_json::from_str::<Secret>(body).unwrap_err().to_string();
            assert!(!said.contains("lagoon") && !said.contains("73512"), "{said}");
        }
        assert!(same("a1", "a1") && !same("a1", "a2") && !same("a1", "a12"));
        assert_ne!(random().unwrap(), random().unwrap());
    }
}
