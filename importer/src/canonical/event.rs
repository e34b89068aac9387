//! Water changes, feedings and carbon written beside the tests: one event a cell.

use std::rc::Rc;

use analysis::vocabulary::{ParameterCode, find_done, find_unit, yes_or_no};

use crate::canonical::date_column::DayOf;
use crate::canonical::tank::TankOf;
use crate::canonical::test::{State, Test, about_written, leave, put, refuse, taken};
use crate::canonical::wide::When;
use crate::canonical::{View, Work};
use crate::cell::mark::{Says, Shape};
use crate::doubt::desk::Settled;
use crate::grid::Raw;
use crate::layout::DataRow;
use crate::meaning::Quantity;
use crate::record::{Event, Record};

/// Words for an amount that nobody can measure.
const VAGUE: &[&str] = &[
    "cup", "pinch", "scoop", "spoon", "bucket", "some", "little", "bit", "often", "handful", "drops", "lot", "full",
    "cube", "cubes", "wurfel", "cubos", "cubo", "blokje", "blokjes", "new", "fresh", "changed", "small", "big", "half",
];

/// Reads a cell of a column of events.
pub(crate) fn read(work: &mut Work, quantity: &Quantity, header: &str, about: &str, mut test: Test) {
    let parameter = quantity.parameter.get();
    let code = code_of(parameter);
    let lower = test.written.trim().to_lowercase();
    let mut amount = None;
    let mut unit = None;
    let vague;
    match test.says.clone() {
        Says::Nothing if yes_or_no(&lower) == Some(true) => vague = true,
        Says::Nothing => return leave(work, &mut test),
        Says::Word if yes_or_no(&lower) == Some(false) => return leave(work, &mut test),
        Says::Word if yes_or_no(&lower) == Some(true) || lower == "✓" || lower == "✔" => vague = true,
        Says::Word if analysis::vocabulary::text::words(&lower).iter().any(|word| VAGUE.contains(&word.as_str())) => {
            vague = true
        }
        Says::Number(number) => {
            let figures = match number.shape {
                Shape::Is(figures) | Shape::Below(figures) | Shape::Above(figures) | Shape::Span(figures, _) => figures,
            };
            if figures.first == 0.0 {
                return leave(work, &mut test);
            }
            let written = number.unit.as_deref().and_then(find_unit).map(|found| found.unit).or(quantity.unit);
            (amount, unit) = amount_of(work, parameter, header, about, &mut test, figures.first, written);
            vague = amount.is_none();
        }
        Says::Fault => {
            let doubt = about_written("formula_error", header, parameter, &test);
            return refuse(work, &mut test, doubt);
        }
        _ => {
            let doubt = about_written("word_in_numbers", header, parameter, &test).about(lower);
            return refuse(work, &mut test, doubt);
        }
    }
    record(work, quantity, header, about, test, (code, amount, unit, vague));
}

/// Records an event told in words; its amount, if one is told, is what the test says.
pub(crate) fn told(
    work: &mut Work,
    parameter: ParameterCode,
    header: &str,
    about: &str,
    with_amount: bool,
    test: Test,
) {
    let quantity = Quantity { parameter, basis: None, unit: None, limit: None, other_tank: false };
    if with_amount {
        return read(work, &quantity, header, about, test);
    }
    let code = code_of(parameter.get());
    record(work, &quantity, header, about, test, (code, None, None, false));
}

/// Records what was done to a tank.
pub(crate) fn done(work: &mut Work, view: &View, row: &DataRow, column: u32, text: &str, when: &When) {
    let Some(done) = find_done(text) else { return };
    let parameter = match done.code {
        "broadcast_feed" => "feeding",
        other => other,
    };
    let Some(parameter) = ParameterCode::parse(parameter) else { return };
    // The amount is read as under a header of its own; its marks are those of the comparable form.
    let amount = done.amount.as_deref();
    let raw = Raw::Text(amount.unwrap_or("yes").to_owned());
    let mut test = Test::of(&raw, view.spot(row.row, column), false, Rc::new(when.clone()));
    test.written = text.to_owned();
    test.line = row.line;
    told(work, parameter, &view.header(column), &view.about(column), amount.is_some(), test);
}

fn code_of(parameter: &analysis::vocabulary::Parameter) -> &'static str {
    match parameter.code.as_str() {
        "feeding" => "broadcast_feed",
        other => other,
    }
}

/// An event of a code with an amount in a unit; vague = an amount that nobody can measure.
type Said = (&'static str, Option<f64>, Option<String>, bool);

fn record(work: &mut Work, quantity: &Quantity, header: &str, about: &str, test: Test, said: Said) {
    let (code, amount, unit, vague) = said;
    let parameter = quantity.parameter.get();
    if test.state != State::Pending {
        return;
    }
    let mut group = crate::canonical::wide::group(0, about.to_owned(), header.to_owned(), quantity, test.spot);
    group.tests.push(test);
    crate::canonical::wide::settle_places(work, &mut group);
    let Some(test) = group.tests.pop().filter(|test| test.state == State::Pending) else { return };
    let (Some(taken), TankOf::Named(tank)) = (taken(&test.when.day), &*test.when.tank) else { return };
    if vague {
        work.desk
            .raise(about_written("amount_unclear", header, parameter, &test).about(about).cell(test.spot, "value"));
    }
    if let DayOf::Known(_) = test.when.day {
        work.saw_day(taken.on);
    }
    let place = work.place_of(test.cells(), test.line);
    work.records.push(Record::Event(Event {
        tank: Some(tank.clone()),
        specimen: None,
        event: code.to_owned(),
        taken,
        amount,
        unit,
        written: test.written.clone(),
        place,
    }));
}

/// An amount in the catalogue's unit, or a share of the volume in %.
fn amount_of(
    work: &mut Work,
    parameter: &analysis::vocabulary::Parameter,
    header: &str,
    about: &str,
    test: &mut Test,
    value: f64,
    unit: Option<analysis::vocabulary::UnitCode>,
) -> (Option<f64>, Option<String>) {
    let Some(unit) = unit else { return (None, None) };
    match unit.as_str() {
        "%" | "%/wk" => return ((0.0..=100.0).contains(&value).then_some(value), Some("%".to_owned())),
        "gal" => {
            let doubt = about_written("gallon_kind", header, parameter, test);
            let code = match put(work, test, about, doubt) {
                Settled::Choice("us", _) => "gal_us",
                Settled::Choice(..) => "gal_imp",
                _ => return (None, None),
            };
            return (
                parameter.convert_event(value, code).ok(),
                parameter.event_unit.map(|unit| unit.as_str().to_owned()),
            );
        }
        _ => {}
    }
    match parameter.convert_event(value, unit.as_str()) {
        Ok(amount) => (Some(amount), parameter.event_unit.map(|unit| unit.as_str().to_owned())),
        Err(_) => (None, None),
    }
}
