//! Codes that can only be obtained by looking them up in the catalogue.

use serde::{Serialize, Serializer};

macro_rules! code {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(&'static str);

        impl $name {
            /// The code as printed.
            pub const fn as_str(self) -> &'static str {
                self.0
            }

            /// Only the catalogue makes codes.
            #[allow(dead_code)]
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
    };
}

code!(
    /// A parameter of the catalogue: `nitrate`, `temperature`, …
    ParameterCode
);
code!(
    /// A unit as printed: `dKH`, `mg/L`, `Cel`, …
    UnitCode
);
code!(
    /// A taxon or group in addresses: `goniopora`, `acropora-millepora`, `lps`, …
    TaxonSlug
);
