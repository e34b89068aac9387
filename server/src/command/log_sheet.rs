//! `strandline log-sheet`: the ready-made sheet, blank or pre-filled.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use importer::log_sheet::{self, Prefill, Units};

use super::failure::Failure;
use super::output::put_bytes;
use super::{PlaceArgs, database};

/// Arguments of `strandline log-sheet`.
#[derive(Args)]
pub struct LogSheetArgs {
    /// Pre-fill with this keeper's tanks and living corals
    #[arg(long, value_name = "HANDLE")]
    keeper: Option<String>,
    /// Form of the sheet
    #[arg(long, value_enum, default_value_t = Form::Xlsx)]
    format: Form,
    /// Unit of temperature in the headers
    #[arg(long, value_parser = ["C", "F"], default_value = "C")]
    temperature: String,
    /// Unit of salinity in the headers
    #[arg(long, value_parser = ["PSU", "SG"], default_value = "PSU")]
    salinity: String,
    /// Unit of alkalinity in the headers
    #[arg(long, value_parser = ["dKH", "meq/L", "ppm"], default_value = "dKH")]
    alkalinity: String,
    /// File to write; without it the sheet goes to standard output
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    Xlsx,
    Csv,
    Html,
}

/// Makes the sheet.
pub fn run(place: &PlaceArgs, args: &LogSheetArgs) -> Result<u8, Failure> {
    let units = Units {
        temperature: if args.temperature == "F" { "°F" } else { "°C" },
        salinity: if args.salinity == "SG" { "SG" } else { "PSU" },
        alkalinity: match args.alkalinity.as_str() {
            "meq/L" => "meq/L",
            "ppm" => "ppm",
            _ => "dKH",
        },
    };
    let prefill = match &args.keeper {
        None => Prefill { units, ..Prefill::default() },
        Some(handle) => {
            let database = database::open(&place.config(None, None, None)?)?;
            let prefill = prefill(&database, handle, units)?;
            database.close()?;
            prefill
        }
    };
    let failed = |error: &dyn std::fmt::Display| {
        Failure::place(format!("cannot make the sheet ({error}), log-sheet: report this"))
    };
    let bytes = match args.format {
        Form::Xlsx => log_sheet::xlsx(&prefill).map_err(|error| failed(&error))?,
        Form::Csv => log_sheet::csv(&prefill).map_err(|error| failed(&error))?,
        Form::Html => log_sheet::html(&prefill).into_bytes(),
    };
    match &args.output {
        Some(path) => std::fs::write(path, bytes).map_err(|error| Failure::unwritable(path, &error))?,
        None => put_bytes(&bytes)?,
    }
    Ok(0)
}

fn prefill(database: &database::Database, handle: &str, units: Units) -> Result<Prefill, Failure> {
    let mut connection = database.connection()?;
    let failed = |error: importer::load::LoadError| Failure::place(error.to_string());
    let keeper = importer::load::find_keeper(&mut connection, handle)
        .map_err(failed)?
        .ok_or_else(|| Failure::usage(format!("no keeper is called that, {handle}: correct the name")))?;
    let known = importer::load::context_for(&mut connection, keeper).map_err(failed)?;
    Ok(Prefill {
        keeper: Some(handle.to_owned()),
        tanks: known.tanks.into_iter().map(|tank| tank.name).collect(),
        corals: known
            .specimens
            .into_iter()
            .filter(|specimen| specimen.alive)
            .map(|specimen| log_sheet::PrefilledCoral {
                label: specimen.label,
                written: specimen.taxon.map(|taxon| taxon.get().name.to_string()).unwrap_or_default(),
                tank: specimen.tank.unwrap_or_default(),
                got: String::new(),
            })
            .collect(),
        units,
    })
}
