//! The ready-made sheet, blank or pre-filled with a keeper's own tanks and corals.
//!
//! One table a tab. Every header cell ends in its code in brackets (`salinity (PSU) [salinity]`), so a renamed
//! or translated tab still loads: the reader goes by the codes. Days are year-month-day, an empty cell means
//! "not tested" or "not known", closed words are drop-downs in a workbook. In the tab `looks` the first column is
//! `[label]`, each further header cell is a day that the keeper writes, and the cells are closed words.
//! As text, the tabs stand one below the other: the tab's name in a row of its own, the header row, the rows,
//! an empty row.

use rust_xlsxwriter::{
    DataValidation, DocProperties, ExcelDateTime, Format, FormatAlign, FormatBorder, Workbook, XlsxError,
};

use crate::formula_guard::{guarded, quoting};

/// Version of the sheet's format, written into the tab `about`.
pub const VERSION: &str = "1";

/// Rows left free for the keeper below what is pre-filled.
const FREE_ROWS: u32 = 200;

/// Units in which a keeper writes tests; they stand in the headers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Units {
    /// `°C` or `°F`.
    pub temperature: &'static str,
    /// `PSU` or `SG`.
    pub salinity: &'static str,
    /// `dKH`, `meq/L` or `ppm`.
    pub alkalinity: &'static str,
}

impl Default for Units {
    fn default() -> Self {
        Units { temperature: "°C", salinity: "PSU", alkalinity: "dKH" }
    }
}

/// What is known of the keeper who asks for a sheet.
#[derive(Debug, Clone, Default)]
pub struct Prefill {
    /// Handle.
    pub keeper: Option<String>,
    /// Names of the keeper's open tanks.
    pub tanks: Vec<String>,
    /// Living corals: label, name as bought, tank, day got.
    pub corals: Vec<PrefilledCoral>,
    /// Units of the headers.
    pub units: Units,
}

/// A coral printed on the sheet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PrefilledCoral {
    /// Label.
    pub label: String,
    /// Name as written before.
    pub written: String,
    /// Tank.
    pub tank: String,
    /// Day got, year-month-day; empty if not known.
    pub got: String,
}

/// One column of a tab.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Code in brackets; empty for the day columns of `looks`.
    pub code: &'static str,
    /// Header as printed, without the code.
    pub title: String,
    /// Words allowed; empty = free.
    pub words: &'static [&'static str],
    /// One line of help.
    pub help: &'static str,
}

impl Column {
    /// The header cell.
    pub fn header(&self) -> String {
        if self.code.is_empty() { String::new() } else { format!("{} [{}]", self.title, self.code) }
    }
}

/// One tab.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tab {
    /// Code: `about`, `tanks`, `kits`, `corals`, `looks`, `tests`, `sizes`, `care`, `happened`.
    pub code: &'static str,
    /// Name as printed.
    pub name: &'static str,
    /// Columns.
    pub columns: Vec<Column>,
    /// Pre-filled rows.
    pub rows: Vec<Vec<String>>,
}

const YES_NO: &[&str] = &["yes", "no"];
const CONDITION: &[&str] = &["open", "off", "poor"];
const LOOKS: &[&str] = &["alive", "open", "off", "poor", "dead", "left", "not_found"];
const ROUTINES: &[&str] =
    &["target_feed", "broadcast_feed", "water_change", "carbon", "trace_dosing", "lamp_setting", "lamp_hours"];
const CAUSES: &[&str] = &[
    "water_swing",
    "salinity_off",
    "temperature_off",
    "nutrients_low",
    "nutrients_high",
    "light_change",
    "flow_wrong",
    "unfed",
    "overgrown",
    "stung",
    "arrival",
    "treatment",
    "heater",
    "cooler",
    "power_cut",
    "pump",
    "leak",
    "dosing_device",
    "top_up_device",
    "lamp",
    "overdose",
    "poison",
    "knocked_over",
    "dried_out",
    "buried",
    "fish",
    "crab_shrimp",
    "worm",
    "snail",
    "nudibranch",
    "flatworm",
    "star",
    "other_pest",
    "not_said",
    "guess_only",
];
const HAPPENED: &[&str] = &[
    "power_cut",
    "heater",
    "overheating",
    "leak",
    "overdose",
    "medicine",
    "move",
    "new_lamp",
    "new_fish",
    "new_invertebrate",
    "pest_found",
    "moved",
    "cut",
    "rescue_cut",
    "fed_differently",
];

fn column(code: &'static str, title: impl Into<String>, words: &'static [&'static str], help: &'static str) -> Column {
    Column { code, title: title.into(), words, help }
}

/// The tabs of a sheet, blank or pre-filled.
pub fn tabs(prefill: &Prefill) -> Vec<Tab> {
    let units = prefill.units;
    let day = "year-month-day, such as 2026-03-04";
    vec![
        Tab {
            code: "about",
            name: "About",
            columns: vec![
                column("keeper", "keeper", &[], "your name in the club's records"),
                column("as_of", "true as of", &[], day),
                column(
                    "complete_since",
                    "every coral written down since",
                    &[],
                    "from this day you wrote down every coral, also those that died",
                ),
                column("losses_listed", "dead ones listed too", YES_NO, "yes, if corals that died are in the list"),
                column("keeping_since", "keeping reefs since", &[], "a year"),
                column("sheet_version", "sheet version", &[], "leave as it is"),
            ],
            rows: vec![vec![
                prefill.keeper.clone().unwrap_or_default(),
                String::new(),
                String::new(),
                String::new(),
                String::new(),
                VERSION.to_owned(),
            ]],
        },
        Tab {
            code: "tanks",
            name: "Tanks",
            columns: vec![
                column("tank", "tank", &[], "a name you keep to"),
                column("started", "started", &[], day),
                column("litres", "litres", &[], "water volume"),
                column(
                    "salinity_by",
                    "salinity by",
                    &["refractometer", "hydrometer", "conductivity", "laboratory"],
                    "how you measure salinity",
                ),
                column(
                    "marked_at",
                    "marked at",
                    &["25/25", "20/20", "60/60F", "15/15", "20/4"],
                    "printed on the instrument, for specific gravity",
                ),
                column("feeds", "feeds a week", &[], "target feeds; 0 = not fed"),
                column("water_change", "water change % a week", &[], "0 = none"),
                column("carbon", "carbon", YES_NO, "activated carbon in use"),
                column("carbon_since", "carbon since", &[], day),
                column("closed", "closed", &[], day),
                column("closed_why", "why closed", &["moved", "sold", "all_died", "other"], "only if closed"),
            ],
            rows: prefill.tanks.iter().map(|tank| vec![tank.clone()]).collect(),
        },
        Tab {
            code: "kits",
            name: "Kits",
            columns: vec![
                column("kit_tank", "tank or all", &[], "empty = all your tanks"),
                column("kit_parameter", "parameter", &[], "what it measures, such as nitrate"),
                column("kit_name", "name", &[], "as on the box"),
                column("kit_step", "smallest step", &[], "smallest difference it can show"),
                column("kit_limit", "smallest value shown", &[], "below this it shows nothing"),
                column("kit_basis", "basis", &["NO3", "NO3-N", "PO4", "P", "NH3", "N", "NH4"], "how it counts"),
                column("kit_calibrated", "calibrated", &[], day),
                column("kit_from", "from", &[], day),
            ],
            rows: Vec::new(),
        },
        Tab {
            code: "corals",
            name: "Corals",
            columns: vec![
                column("label", "label", &[], "your own short name, each coral its own"),
                column("written", "name as bought", &[], "scientific name if you know it"),
                column(
                    "form",
                    "form",
                    &["ball_long", "encrusting_red", "columnar", "short", "twelve"],
                    "flowerpots only",
                ),
                column("tentacles", "tentacles a polyp", &[], "12 or 24, if counted"),
                column("coral_tank", "tank", &[], "as in the tab Tanks"),
                column("got", "got", &[], day),
                column(
                    "got_from",
                    "got from",
                    &["own_cutting", "member", "shop", "online_dealer", "importer", "event"],
                    "the kind, not the name",
                ),
                column("line", "line card", &[], "code on the card that came with a cutting"),
                column(
                    "origin",
                    "origin",
                    &["wild_collected", "maricultured", "captive_grown", "captive_bred", "farmed_unclear", "unknown"],
                    "where it grew",
                ),
                column(
                    "origin_basis",
                    "how known",
                    &["own_cutting", "member_cutting", "papers", "seller_said", "guess"],
                    "how you know",
                ),
                column("size_mm", "size mm", &[], "when got"),
                column(
                    "size_basis",
                    "measured on",
                    &["skeleton", "base", "heads", "open_tissue", "closed_tissue"],
                    "what you measured",
                ),
                column(
                    "looked_when_got",
                    "looked when got",
                    CONDITION,
                    "open = normal, off = closed or pale, poor = less than half alive",
                ),
                column("days_at_seller", "days at the seller", &[], "if told"),
                column("height", "height", &["top", "middle", "bottom", "sand"], "where it stands"),
                column("flow_word", "flow", &["still", "swaying", "thrashing"], "what its polyps do"),
                column("spot_par", "PAR if measured", &[], "at its place"),
                column("stinging_near", "stinging neighbour within 15 cm", YES_NO, "yes or no"),
                column("ended", "ended", &[], day),
                column(
                    "fate",
                    "what became of it",
                    &["died", "missing", "given", "sold", "swapped", "returned", "cut_up"],
                    "only if ended",
                ),
                column("last_seen", "last seen alive", &[], day),
                column("cause", "main cause", CAUSES, "only if you are fairly sure"),
                column("looked_then", "looked then", CONDITION, "for one that left"),
            ],
            rows: prefill
                .corals
                .iter()
                .map(|coral| {
                    let mut row = vec![String::new(); 6];
                    row[0] = coral.label.clone();
                    row[1] = coral.written.clone();
                    row[4] = coral.tank.clone();
                    row[5] = coral.got.clone();
                    row
                })
                .collect(),
        },
        Tab {
            code: "looks",
            name: "Monthly look",
            columns: {
                let mut columns =
                    vec![column("look_label", "coral", &[], "one row a coral; write the day above each column")];
                columns.extend((0..12).map(|_| column("", "", LOOKS, "")));
                columns
            },
            rows: prefill.corals.iter().map(|coral| vec![coral.label.clone()]).collect(),
        },
        Tab {
            code: "tests",
            name: "Tests",
            columns: vec![
                column("test_day", "day", &[], day),
                column("test_time", "time", &[], "hours:minutes, if you like"),
                column("test_tank", "tank", &[], "as in the tab Tanks"),
                column("temperature", format!("temperature ({})", units.temperature), &[], "empty = not tested"),
                column("salinity", format!("salinity ({})", units.salinity), &[], "empty = not tested"),
                column("alkalinity", format!("alkalinity ({})", units.alkalinity), &[], "empty = not tested"),
                column("nitrate", "nitrate (mg/L as NO3)", &[], "<0.5 is welcome"),
                column("phosphate", "phosphate (mg/L as PO4)", &[], "<0.02 is welcome"),
                column("calcium", "calcium (mg/L)", &[], "empty = not tested"),
                column("magnesium", "magnesium (mg/L)", &[], "empty = not tested"),
                column("ph", "pH", &[], "empty = not tested"),
                column("test_remark", "remark", &[], "anything"),
            ],
            rows: Vec::new(),
        },
        Tab {
            code: "sizes",
            name: "Sizes",
            columns: vec![
                column("size_day", "day", &[], day),
                column("size_label", "coral", &[], "its label"),
                column(
                    "size_measure",
                    "measure",
                    &["heads", "diameter", "height", "area", "shell", "weight"],
                    "what you measured",
                ),
                column(
                    "size_on",
                    "on",
                    &["skeleton", "base", "heads", "open_tissue", "closed_tissue"],
                    "where you measured",
                ),
                column("size_value", "value", &[], "a number"),
                column("size_unit", "unit", &["mm", "cm", "in", "mm2", "cm2", "g", "1"], "1 for heads"),
            ],
            rows: Vec::new(),
        },
        Tab {
            code: "care",
            name: "Care",
            columns: vec![
                column("care_of", "tank or coral", &[], "a tank's name or a coral's label"),
                column("care_kind", "kind", ROUTINES, "one of the list"),
                column("care_rate", "rate", &[], "a number"),
                column("care_per", "a", &["week", "day", "month"], "per week, day or month"),
                column("care_from", "from", &[], day),
                column("care_to", "to", &[], "empty = still so"),
            ],
            rows: Vec::new(),
        },
        Tab {
            code: "happened",
            name: "What happened",
            columns: vec![
                column("happened_day", "day", &[], day),
                column("happened_to", "to", &[], "last day, if longer"),
                column("happened_where", "tank or coral", &[], "a tank's name or a coral's label"),
                column("happened_what", "what", HAPPENED, "one of the list"),
                column("happened_note", "note", &[], "anything"),
            ],
            rows: Vec::new(),
        },
    ]
}

/// The least that is worth writing down, printed on the sheet. Minutes are estimates.
pub const MINIMUM: &[&str] = &[
    "Once, about 20 minutes: About, Tanks, Kits, Corals (2 more for each new coral).",
    "Once a month, 5 minutes for 15 corals: the monthly look; never rarer than every 45 days.",
    "Once a fortnight, 2 minutes to write down: temperature, salinity, alkalinity, nitrate, phosphate.",
    "Twice a year, 10 minutes: sizes of the hard kinds.",
    "The same day, 1 minute: one line when something dies, moves, breaks or is new.",
    "When it changes, 2 minutes: feeding, water changes, carbon; confirm them twice a year.",
    "Less still helps: got, ended, what became of it, and one \"all seen alive\" a season.",
];

/// Cautions printed at the foot of the sheet.
pub const CAUTIONS: &[&str] = &[
    "Unplug before you reach in; hands dry, plugs last. Ask a licensed electrician about wiring.",
    "Gloves and eye protection with zoanthids and unknown rock; never boil, brush or scald it.",
    "A value in a log is no reason to dose. Never change water or buy corals to fill a gap in the records.",
];

/// The sheet as a workbook with drop-downs.
pub fn xlsx(prefill: &Prefill) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // Asked for twice, the sheet has the same bytes.
    book.set_properties(&DocProperties::new().set_creation_datetime(&ExcelDateTime::from_ymd(2026, 1, 1)?));
    let head =
        Format::new().set_bold().set_text_wrap().set_align(FormatAlign::Top).set_border_bottom(FormatBorder::Thin);
    let day = Format::new().set_num_format("yyyy-mm-dd");
    for tab in tabs(prefill) {
        let page = book.add_worksheet();
        page.set_name(tab.name)?;
        page.set_freeze_panes(1, 0)?;
        for (at, column) in (0u16..).zip(&tab.columns) {
            if column.code.is_empty() {
                page.write_blank(0, at, &day)?;
            } else {
                page.write_string_with_format(0, at, column.header(), &head)?;
                page.insert_note(
                    0,
                    at,
                    &rust_xlsxwriter::Note::new(column.help).set_author("").add_author_prefix(false),
                )?;
            }
            page.set_column_width(at, 16)?;
            if column.help.starts_with("year-month-day") {
                page.set_column_format(at, &day)?;
            }
            if !column.words.is_empty() {
                let rule = DataValidation::new().allow_list_strings(column.words).or_else(|_| too_long(column))?;
                page.add_data_validation(1, at, FREE_ROWS + tab.rows.len() as u32, at, &rule)?;
            }
        }
        for (row, cells) in (1u32..).zip(&tab.rows) {
            for (at, cell) in (0u16..).zip(cells) {
                if !cell.is_empty() {
                    page.write_string(row, at, cell)?;
                }
            }
        }
    }
    book.save_to_buffer()
}

/// A list too long for a drop-down's 255 characters is checked as free text of at most 40 letters.
fn too_long(_column: &Column) -> Result<DataValidation, XlsxError> {
    Ok(DataValidation::new().allow_text_length(rust_xlsxwriter::DataValidationRule::LessThanOrEqualTo(40)))
}

/// The sheet as text (RFC 4180), its tabs one below the other.
pub fn csv(prefill: &Prefill) -> Result<Vec<u8>, csv::Error> {
    let tabs = tabs(prefill);
    let mut writer = csv::WriterBuilder::new()
        .quote_style(quoting(tabs.iter().flat_map(|tab| tab.rows.iter().flatten()).map(String::as_str)))
        .terminator(csv::Terminator::CRLF)
        .flexible(true)
        .from_writer(Vec::new());
    for tab in tabs {
        let text = |text: &str| guarded(text).into_owned();
        writer.write_record([text(tab.name)])?;
        let width = tab.columns.len();
        writer.write_record(tab.columns.iter().map(|column| text(&column.header())))?;
        for row in &tab.rows {
            let mut cells: Vec<String> = row.iter().map(|cell| text(cell)).collect();
            cells.resize(width, String::new());
            writer.write_record(cells)?;
        }
        writer.write_record([""])?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

/// The sheet as pages to print and fill in by hand.
pub fn html(prefill: &Prefill) -> String {
    let mut page = String::from(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Log sheet</title><style>\
         @page{size:A4 landscape;margin:12mm}body{font-family:Georgia,serif;color:#123;background:#fffdf6;margin:1.2rem}\
         h1{font-size:1.4rem;border-bottom:2px solid #234}h2{font-size:1rem;margin:1.4em 0 .3em}\
         table{border-collapse:collapse;width:100%;font-size:.7rem}th,td{border:1px solid #789;padding:.25em;text-align:left;\
         vertical-align:top}td{height:1.5em}section{break-inside:avoid}small{color:#345}</style></head><body>\n",
    );
    page.push_str(&format!(
        "<h1>Log sheet{}</h1>\n",
        prefill.keeper.as_deref().map(|k| format!(" of {}", escape(k))).unwrap_or_default()
    ));
    page.push_str(
        "<p>Days as year-month-day. An empty box means not tested or not known. \"&lt;0.02\" is welcome.</p>\n<ul>",
    );
    for line in MINIMUM {
        page.push_str(&format!("<li>{}</li>", escape(line)));
    }
    page.push_str("</ul>\n");
    for tab in tabs(prefill) {
        page.push_str(&format!("<section><h2>{}</h2>\n<table><thead><tr>", escape(tab.name)));
        for column in &tab.columns {
            let words = if column.words.is_empty() || column.words.len() > 7 {
                String::new()
            } else {
                format!("<br><small>{}</small>", column.words.join(" / "))
            };
            page.push_str(&format!("<th scope=\"col\">{}{words}</th>", escape(&column.title)));
        }
        page.push_str("</tr></thead><tbody>\n");
        let blank = if matches!(tab.code, "tests" | "sizes") { 12 } else { 3 };
        for row in tab.rows.iter().cloned().chain(std::iter::repeat_n(Vec::new(), blank)) {
            page.push_str("<tr>");
            for at in 0..tab.columns.len() {
                page.push_str(&format!("<td>{}</td>", row.get(at).map(|cell| escape(cell)).unwrap_or_default()));
            }
            page.push_str("</tr>\n");
        }
        page.push_str("</tbody></table></section>\n");
    }
    page.push_str("<section><h2>Cautions</h2><ul>");
    for line in CAUTIONS {
        page.push_str(&format!("<li>{}</li>", escape(line)));
    }
    page.push_str("</ul></section>\n</body></html>\n");
    page
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_unique_over_all_tabs() {
        let mut seen = std::collections::BTreeSet::new();
        for tab in tabs(&Prefill::default()) {
            for column in tab.columns.iter().filter(|column| !column.code.is_empty()) {
                assert!(seen.insert(column.code), "{} twice", column.code);
            }
        }
    }

    #[test]
    fn the_same_sheet_has_the_same_bytes() {
        let prefill = Prefill { tanks: vec!["Lagoon".into()], ..Prefill::default() };
        assert_eq!(xlsx(&prefill).unwrap(), xlsx(&prefill).unwrap());
    }

    #[test]
    fn names_cannot_break_the_printed_page() {
        let prefill = Prefill { keeper: Some("<b>&".into()), ..Prefill::default() };
        assert!(html(&prefill).contains("Log sheet of &lt;b&gt;&amp;"));
    }
}
