//! An answer as a picture: what it needs beside the answer, and in which size.

use actix_web::{HttpRequest, web};
use serde::Serialize;
use serde_json::Value;

use crate::answer::Snapshot;
use crate::app::State;
use crate::chart::{self, Size, Source};
use crate::problem::{Fault, Kind, Problem};
use crate::query::Fields;
use crate::represent::{self, Form, Made, Sheet};
use crate::route::representation::Representation;
use crate::route::statistics;

/// Draws an answer as SVG.
pub type Draw<A> = fn(&A, &Source, Size) -> String;

/// The size asked for.
pub fn size(fields: &mut Fields) -> Option<Size> {
    fields.word("size", &Size::WORDS).and_then(Size::parse)
}

/// How an answer is to be written, pictures among the ways.
pub struct Pictured {
    /// The representation.
    pub form: Form,
    club: Option<String>,
}

impl Pictured {
    /// Reads it from a request, and the club's name where a picture needs it.
    ///
    /// # Errors
    /// A representation that is not made, a size of what is no picture, or the database refused.
    pub async fn of(
        request: &HttpRequest,
        state: &web::Data<State>,
        representation: Representation,
        size: Option<Size>,
        made: Made,
    ) -> Result<Self, Problem> {
        let form = representation.form(request, made)?;
        if size.is_some() && form.picture().is_none() {
            let detail = "'size' goes with format=svg and format=png only; leave it out or ask for a picture";
            return Err(Problem::of_fault(Kind::InvalidQuery, Fault::parameter("size", "conflict", detail)));
        }
        let form = form.sized(size.unwrap_or(Size::Column));
        let club = if form.picture().is_some() { statistics::club_facts(state).await?.0 } else { None };
        Ok(Pictured { form, club })
    }

    /// The question as answers are kept by: a picture bears the club's name.
    pub fn asked(&self, asked: statistics::Question) -> statistics::Question {
        match self.form.picture() {
            None => asked,
            Some(_) => statistics::Question {
                canonical: format!(
                    "{}&club={}",
                    asked.canonical,
                    self.club.as_deref().map(represent::encode).unwrap_or_default()
                ),
                ..asked
            },
        }
    }

    /// The bytes of the answer.
    ///
    /// # Errors
    /// It does not print: a fault of this program.
    pub fn bytes<A: Serialize>(
        &self,
        answer: &A,
        snapshot: &Snapshot,
        draw: Option<Draw<A>>,
        sheet: impl FnOnce(&Value) -> Sheet,
    ) -> Result<Vec<u8>, Problem> {
        let (Some(size), Some(draw)) = (self.form.picture(), draw) else {
            return represent::json_or_sheet(answer, self.form, sheet);
        };
        let svg = draw(answer, &Source { club: self.club.clone(), day: snapshot.raised_at.date_naive() }, size);
        if let Form::Png(size) = self.form { chart::png(&svg, size) } else { Ok(svg.into_bytes()) }
    }
}
