//! The two parameters by which a link says how an answer is to be written.

use actix_web::HttpRequest;
use utoipa::IntoParams;

use crate::problem::Problem;
use crate::query::{Asked, Fields};
use crate::represent::{Form, Made, negotiate};

/// What `csv` takes.
pub const CSV: [&str; 2] = ["excel", "standard"];

/// How an answer is to be written.
#[derive(Debug, Clone, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Representation {
    /// `json`, `csv` or `parquet`; wins over `Accept`, so that a link can carry it.
    #[param(example = "json")]
    pub format: Option<String>,
    /// `excel` writes CSV with a byte order mark, semicolons and decimal commas; implies `format=csv`.
    #[param(example = "excel")]
    pub csv: Option<String>,
}

impl Representation {
    /// Reads the two parameters.
    pub fn of(fields: &mut Fields) -> Self {
        let format = fields.word("format", crate::represent::negotiate::FORMATS).map(str::to_owned);
        let csv = fields.word("csv", &CSV).map(str::to_owned);
        if csv.is_some() && format.as_deref().is_some_and(|format| format != "csv") {
            fields.fault("csv", "conflict", "'csv' goes with format=csv only; leave one of them out");
        }
        let format = format.or_else(|| csv.as_ref().map(|_| "csv".to_owned()));
        Representation { format, csv }
    }

    /// The representation, out of those an address makes.
    pub fn form(&self, request: &HttpRequest, made: Made) -> Result<Form, Problem> {
        negotiate(request, self.format.as_deref(), self.csv.as_deref() == Some("excel"), made)
    }
}

/// How a text is to be written.
#[derive(Debug, Clone, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Documents {
    /// `json`, `md` for Markdown or `html` for a page that prints; wins over `Accept`, so that a link can carry it.
    #[param(example = "html")]
    pub format: Option<String>,
}

impl Documents {
    /// The representation.
    pub fn form(&self, request: &HttpRequest) -> Result<Form, Problem> {
        negotiate(request, self.format.as_deref(), false, Made::Text)
    }
}

impl Asked for Documents {
    fn read(fields: &mut Fields) -> Self {
        Documents { format: fields.word("format", crate::represent::negotiate::FORMATS).map(str::to_owned) }
    }
}

impl Asked for Representation {
    fn read(fields: &mut Fields) -> Self {
        Representation::of(fields)
    }
}
