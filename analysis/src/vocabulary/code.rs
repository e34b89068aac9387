//! Codes that can only be obtained by looking them up in the catalogue.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::catalogue;

macro_rules! code {
    ($(#[$doc:meta])* $name:ident, $what:literal, $lookup:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(&'static str);

        impl $name {
            /// The code as printed.
            pub const fn as_str(self) -> &'static str {
                self.0
            }

            /// The row of this code, if the catalogue has one; compared as written.
            pub fn parse(code: &str) -> Option<Self> {
                let lookup: fn(&str) -> Option<Self> = $lookup;
                lookup(code)
            }

            /// Only the catalogue makes codes.
            pub(in crate::vocabulary) const fn of_catalogue(code: &'static str) -> Self {
                Self(code)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.0)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let code = String::deserialize(deserializer)?;
                Self::parse(&code).ok_or_else(|| serde::de::Error::custom(format!("unknown {} `{code}`", $what)))
            }
        }
    };
}

code!(
    /// A parameter of the catalogue: `nitrate`, `temperature`, …
    ParameterCode,
    "parameter",
    |code| catalogue().parameters.by_code.get(code).map(|&row| catalogue().parameters.all[row].code)
);
code!(
    /// A unit as printed: `dKH`, `mg/L`, `Cel`, …
    UnitCode,
    "unit",
    |code| catalogue().units.by_code.get(code).map(|&row| catalogue().units.all[row].code)
);
code!(
    /// A taxon or group in addresses: `goniopora`, `acropora-millepora`, `lps`, …
    TaxonSlug,
    "taxon",
    |slug| catalogue().taxa.by_slug.get(slug).map(|&row| catalogue().taxa.all[row].slug)
);
code!(
    /// A kind of finding: `date_order_unclear`, `outside_limits`, …
    FindingCode,
    "finding",
    |code| catalogue().findings.by_code.get(code).map(|&row| catalogue().findings.all[row].code)
);
