//! Tables in texts and workbooks as members keep them. All logs are invented; expectations are written by eye.

use importer::container;
use importer::grid::{Cell, Grid, Raw, Row};
use importer::layout::{self, Kind, Placed, Table};

fn read(text: &str) -> (Vec<Table>, Vec<importer::finding::Finding>, Vec<Placed>) {
    let (grids, findings) = container::open("log.csv", text.as_bytes());
    assert_eq!(findings, [], "the container takes it as it stands");
    assert_eq!(grids.len(), 1);
    layout::tables(&grids[0])
}

/// Header, number of rows and labels of a table, and its kind.
#[track_caller]
fn expect(text: &str, tables: &[(Kind, &[&str], usize)]) -> (Vec<Table>, Vec<Placed>) {
    let (found, findings, labels) = read(text);
    assert_eq!(
        findings.iter().map(|finding| &finding.message).collect::<Vec<_>>(),
        Vec::<&String>::new(),
        "no question"
    );
    let seen: Vec<(Kind, Vec<&str>, usize)> = found
        .iter()
        .map(|table| (table.kind, table.header.iter().map(|column| column.text.as_str()).collect(), table.rows.len()))
        .collect();
    let wanted: Vec<(Kind, Vec<&str>, usize)> =
        tables.iter().map(|(kind, header, rows)| (*kind, header.to_vec(), *rows)).collect();
    assert_eq!(seen, wanted);
    (found, labels)
}

fn written(cells: &[Placed]) -> Vec<String> {
    cells.iter().map(|cell| cell.raw.written()).collect()
}

#[test]
fn tests_side_by_side_with_a_mean_and_a_note_of_two_lines() {
    let text = "Date,Temp C,SG 25/25,Alk ppm,NO3,PO4,Notes\n05/02/2024,25.1,1.0255,148,8,0.05,\n12/02/2024,25.3,1025,151,5-10,<0.02,\n\
                26/02/2024,,1.0255,149,forgot,trace,\n31/02/2024,25.1,1.0256,2.9,8?,0.05,\"two lines,\nsee book\"\nAverage,25.2,1.0256,148,9,0.05,\n";
    let (tables, _) =
        expect(text, &[(Kind::Wide, &["Date", "Temp C", "SG 25/25", "Alk ppm", "NO3", "PO4", "Notes"], 4)]);
    assert_eq!(written(&tables[0].labels), ["Average", "25.2", "1.0256", "148", "9", "0.05"]);
    assert_eq!((tables[0].rows[3].row, tables[0].rows[3].line), (5, Some(5)));
    assert_eq!(tables[0].rows[3].cells.last().map(|cell| cell.raw.written()).as_deref(), Some("two lines,\nsee book"));
}

#[test]
fn one_test_a_line_with_a_decimal_comma() {
    let text = "when;tank;test;result;unit\n2024-03-02;Alder;Temp;25,2;C\n2024-03-02;alder ;KH;8,4;dKH\n2024-03-03;Brook;Salinity;1,025;SG\n";
    let (tables, _) = expect(text, &[(Kind::Long, &["when", "tank", "test", "result", "unit"], 3)]);
    assert!(tables[0].decimal_comma);
    assert_eq!(tables[0].rows[1].cells[1].raw, Raw::Text("alder ".to_owned()), "cells stay as written");
}

#[test]
fn tables_one_below_the_other_have_their_own_titles() {
    let text = "Spring round\nTANK: Alder (300 L)\nDate,Temp °C,KH,NO3\n14/04/2024,25.3,8.1,6\n15/04/2024,25.2,8.2,7\n\nTANK: Brook\nDate,KH meq/L,Temp °F,PO4 ppb\n14/04/2024,2.9,77.5,45\n15/04/2024,8.1,77.2,0.05\n";
    let (tables, labels) = expect(
        text,
        &[
            (Kind::Wide, &["Date", "Temp °C", "KH", "NO3"], 2),
            (Kind::Wide, &["Date", "KH meq/L", "Temp °F", "PO4 ppb"], 2),
        ],
    );
    assert_eq!(written(&tables[0].titles), ["Spring round", "TANK: Alder (300 L)"]);
    assert_eq!(written(&tables[1].titles), ["TANK: Brook"]);
    assert_eq!(labels, []);
}

#[test]
fn blocks_with_the_same_columns_are_two_tables_with_or_without_a_blank_line() {
    for gap in ["", "\n", "\n\n"] {
        let text = format!(
            "Tank: Kelp\nDay,KH,NO3\n2024-04-14,8.1,6\n2024-04-15,8.2,7\n{gap}Tank: Fern\nDay,KH,NO3\n2024-04-14,7.9,2\n"
        );
        let (tables, _) =
            expect(&text, &[(Kind::Wide, &["Day", "KH", "NO3"], 2), (Kind::Wide, &["Day", "KH", "NO3"], 1)]);
        assert_eq!(written(&tables[1].titles), ["Tank: Fern"]);
    }
}

#[test]
fn sections_under_one_header_are_tables_of_their_own() {
    let text = "Day,KH,NO3\nTank: Kelp\n2024-04-14,8.1,6\n2024-04-15,8.2,7\nTank: Fern\n2024-04-14,7.9,2\n\nBig room\n2024-04-14,8.0,3\nchanged the salt\n2024-04-15,8.0,3\n";
    let day: &[&str] = &["Day", "KH", "NO3"];
    let (tables, labels) = expect(text, &[(Kind::Wide, day, 2), (Kind::Wide, day, 1), (Kind::Wide, day, 2)]);
    assert_eq!(
        tables.iter().map(|table| written(&table.titles)).collect::<Vec<_>>(),
        [["Tank: Kelp"], ["Tank: Fern"], ["Big room"]]
    );
    assert_eq!(written(&tables[2].labels), ["changed the salt"]);
    assert_eq!(labels, []);
}

#[test]
fn groups_of_corals_are_titles_inside_a_register() {
    let text = "Coral list 2024\nSPS\nName,Date added,From,Status\nBirdsnest,2/20/2023,shop,dead 3/3/2023\nLPS\nHammer,1/15/2023,shop,alive\nSofties\nToadstool,2019,friend,alive\n";
    let (tables, _) = expect(text, &[(Kind::Register, &["Name", "Date added", "From", "Status"], 3)]);
    assert_eq!(
        (written(&tables[0].titles), written(&tables[0].labels)),
        (vec!["Coral list 2024".to_owned(), "SPS".to_owned()], vec!["LPS".to_owned(), "Softies".to_owned()])
    );
}

#[test]
fn tables_side_by_side_are_parted_at_the_empty_column() {
    let text = "Date,KH,NO3,,Coral,Got,Lost,Why\n2024-03-02,8.2,5,,Hammer,2022-01-01,,\n2024-03-03,8.1,5,,Torch,2022-01-01,2023-05-05,died\n,,,,Duncan,2023-01-01,,\n";
    let (tables, _) =
        expect(text, &[(Kind::Wide, &["Date", "KH", "NO3"], 2), (Kind::Register, &["Coral", "Got", "Lost", "Why"], 3)]);
    assert_eq!(tables[1].rows[2].cells[0].column, 5);
    expect(
        "Date,KH,,NO3,Notes\n2024-03-02,8.2,,5,\n2024-03-03,8.1,,5,fine\n",
        &[(Kind::Wide, &["Date", "KH", "NO3", "Notes"], 2)],
    );
}

#[test]
fn a_diary_in_sentences_is_not_taken_for_read() {
    let (tables, findings, labels) =
        read("Reef journal\n\n01/03/2024\nKH 8.2, NO3 5. All fine.\n\n08/03/2024\nKH 8.1, NO3 5. Torch closed.\n");
    assert_eq!((tables.len(), findings.len(), labels.len()), (0, 1, 0));
    assert_eq!((findings[0].code.as_str(), findings[0].cells.len()), ("table_kind_unclear", 7));
}

#[test]
fn months_and_pages_do_not_part_a_table() {
    let text = "Date;KH;NO3\nJanuary 2024\n02.01.2024;8,1;6\n09.01.2024;8,2;7\nAverage;8,15;6,5\n\nFebruary 2024\nDate;KH;NO3\n06.02.2024;7,9;2\nPage 2\nDate;KH;NO3\n13.02.2024;8,0;2\n";
    let (tables, _) = expect(text, &[(Kind::Wide, &["Date", "KH", "NO3"], 4)]);
    assert_eq!(tables[0].labels.len(), 1 + 3 + 1 + 3 + 1 + 3);
}

#[test]
fn a_units_row_goals_and_a_legend_are_no_data() {
    let text = "Datum;Temperatur;KH;Nitrat\n;°C;dKH;mg/l\nSollwert;25;8;5\n02.03.2024;25,1;8,2;5\n09.03.2024;25,3;8,1;<2\nMittelwert;25,2;8,15;3\n* gemessen am Abend\n";
    let (tables, _) = expect(text, &[(Kind::Wide, &["Datum", "Temperatur", "KH", "Nitrat"], 2)]);
    assert_eq!(written(&tables[0].units), ["°C", "dKH", "mg/l"]);
    assert_eq!(
        written(&tables[0].labels),
        ["Sollwert", "25", "8", "5", "Mittelwert", "25,2", "8,15", "3", "* gemessen am Abend"]
    );
}

#[test]
fn footers_are_labels_and_titles_may_hold_a_day() {
    let text = "Reef log of the north room,,\nas of 2024-05-01,,\n,,\nDate,KH,NO3\n2024-03-02,8.2,5\n2024-03-09,8.1,5\n,,\nAll tests before the water change.,,\n";
    let (tables, labels) = expect(text, &[(Kind::Wide, &["Date", "KH", "NO3"], 2)]);
    assert_eq!(written(&tables[0].titles), ["Reef log of the north room", "as of 2024-05-01"]);
    assert_eq!(written(&tables[0].labels), ["All tests before the water change."]);
    assert_eq!(labels, []);
}

#[test]
fn registers_in_five_languages() {
    for (header, row) in [
        ("No;Coral;Trade name;Got;From;Gone;What happened", "C01;Euphyllia ancora;hammer;14.05.2022;wild;;"),
        (
            "Nr.;Art;Handelsname;Gekauft am;Herkunft;Gestorben am;Ursache",
            "7;Euphyllia ancora;Hammer;14.05.2022;Wildfang;;",
        ),
        (
            "N°;Espèce;Nom commun;Acheté le;Origine;Date de mort;Cause",
            "7;Euphyllia ancora;marteau;14/05/2022;sauvage;;",
        ),
        (
            "Nº;Especie;Nombre común;Fecha de compra;Origen;Fecha de muerte;Causa",
            "7;Euphyllia ancora;martillo;14/05/2022;silvestre;;",
        ),
        ("Nr;Soort;Handelsnaam;Aankoopdatum;Herkomst;Sterfdatum;Oorzaak", "7;Euphyllia ancora;hamer;14-05-2022;wild;;"),
    ] {
        let cells: Vec<&str> = header.split(';').collect();
        expect(&format!("{header}\n{row}\n{row}\n"), &[(Kind::Register, &cells, 2)]);
    }
}

#[test]
fn a_register_keeps_rows_of_words_and_gives_up_its_footer() {
    let text = "Label,Species,Tank,Bought,Died\nA1,Goniopora sp.,Kelp,2022-05-14,\nA2,Zoanthus,,,\nA3,Favia,Fern,,\n\nAll corals of the big room are in this list.,,,,\n";
    let (tables, _) = expect(text, &[(Kind::Register, &["Label", "Species", "Tank", "Bought", "Died"], 3)]);
    assert_eq!(written(&tables[0].labels), ["All corals of the big room are in this list."]);
}

#[test]
fn diaries_of_sizes_looks_and_notes() {
    expect(
        "Date,Coral,What,Reading\n1/7/2024,Goni 1,dia,3.2 cm\n1/21/2024,Cap,across,2 1/2 in\n3/3/2024,Cap,across,fragged today\n",
        &[(Kind::Diary, &["Date", "Coral", "What", "Reading"], 3)],
    );
    expect(
        "Day,Coral,Condition\n2024-01-07,Goni 1,open\n2024-01-08,Cap,off\n",
        &[(Kind::Diary, &["Day", "Coral", "Condition"], 2)],
    );
    expect(
        "Datum;Koralle;Durchmesser (mm);Köpfe\n07.01.2024;Goni 1;32;\n21.01.2024;Hammer;;4\n",
        &[(Kind::Diary, &["Datum", "Koralle", "Durchmesser (mm)", "Köpfe"], 2)],
    );
    expect(
        "Date\tNotes\n2024-01-07\theater stuck on\n2024-01-08\tall open again\n",
        &[(Kind::Diary, &["Date", "Notes"], 2)],
    );
}

#[test]
fn what_the_cells_hold_tells_a_list_of_tests_from_a_diary() {
    expect(
        "Date,What,Reading\n2024-01-07,Nitrate,5\n2024-01-07,KH,8.2\n2024-01-07,Temp,25.1\n",
        &[(Kind::Long, &["Date", "What", "Reading"], 3)],
    );
    expect(
        "Datum;Becken;Messung von;Zahl\n07.01.2024;Kelp;Nitrat;5\n07.01.2024;Kelp;KH;8,2\n",
        &[(Kind::Long, &["Datum", "Becken", "Messung von", "Zahl"], 2)],
    );
}

#[test]
fn mixed_tables_on_one_sheet() {
    let text = "Log of Juno\n\nWater\nDate,KH,NO3\n2024-03-02,8.2,5\n2024-03-09,8.1,5\n\nCorals\nLabel,Name,Got,Ended,Fate\nA1,Goniopora,2022-05-14,,\nA2,Hammer,2022-05-14,2023-01-03,died\n\nSizes\nDate,Coral,Measure,Value,Unit\n2024-03-02,A1,diameter,34,mm\n";
    let (tables, _) = expect(
        text,
        &[
            (Kind::Wide, &["Date", "KH", "NO3"], 2),
            (Kind::Register, &["Label", "Name", "Got", "Ended", "Fate"], 2),
            (Kind::Diary, &["Date", "Coral", "Measure", "Value", "Unit"], 1),
        ],
    );
    assert_eq!(written(&tables[1].titles), ["Corals"]);
}

#[test]
fn header_words_that_nobody_knows_still_stand_over_the_values() {
    expect(
        "Datum;Temp;Xq;Zzw\n02.03.2024;25,1;3;4\n09.03.2024;25,3;3;4\n",
        &[(Kind::Wide, &["Datum", "Temp", "Xq", "Zzw"], 2)],
    );
    let (tables, findings, _) = read("Xd;Xq;Zzw\n02.03.2024;3;4\n09.03.2024;3;4\n");
    assert_eq!((tables.len(), findings.len()), (0, 1));
    assert_eq!(findings[0].code, "table_kind_unclear");
    assert_eq!(findings[0].proposed.as_ref().map(|answer| answer.choice.as_str()), Some("wide"));
    assert_eq!(findings[0].cells.len(), 6);
}

#[test]
fn an_answer_settles_a_table_of_no_known_kind() {
    let (grids, _) = container::open("log.csv", b"Xd;Xq;Zzw\n02.03.2024;3;4\n09.03.2024;3;4\n");
    let (_, findings, _) = layout::tables(&grids[0]);
    let answer = |choice: &str| importer::finding::Answer {
        key: findings[0].key.clone(),
        choice: choice.to_owned(),
        value: None,
    };
    for (choice, kind) in
        [("wide", Kind::Wide), ("long", Kind::Long), ("register", Kind::Register), ("diary", Kind::Diary)]
    {
        let (tables, findings, labels) = layout::tables_with(&grids[0], &[answer(choice)]);
        assert_eq!((tables.len(), tables[0].kind, findings.len(), labels.len()), (1, kind, 0, 0));
    }
    for choice in ["none", "leave_out"] {
        let (tables, findings, labels) = layout::tables_with(&grids[0], &[answer(choice)]);
        assert_eq!((tables.len(), findings.len(), labels.len()), (0, 0, 9), "{choice}");
    }
    let (tables, findings, _) = layout::tables_with(&grids[0], &[answer("dont_know")]);
    assert_eq!((tables.len(), findings.len(), findings[0].answered.as_deref()), (0, 1, Some("dont_know")));
}

#[test]
fn days_across_become_a_row_a_day() {
    let text = "Copse,,06/01/24,13/01/24,20/01/24,Average\nTemperature,°C,25.1,25.3,252,25.2\nSalinity,ppt,34.8,53.1,34.9,34.8\nAlkalinity,dKH,8.2,8.1/8.3,84,8.2\n";
    let (tables, findings, labels) = read(text);
    assert_eq!((tables.len(), findings.len(), labels.len()), (1, 0, 0));
    let table = &tables[0];
    assert_eq!((table.turned, table.rows.len(), table.header.len(), table.units.len()), (true, 3, 3, 3));
    assert_eq!((table.titles.len(), table.labels.len()), (1, 4));
    assert_eq!(table.rows.iter().map(|row| row.cells.len()).collect::<Vec<_>>(), [4, 4, 4]);
}

#[test]
fn words_alone_are_labels() {
    let (tables, findings, labels) = read("Read me\nThis book holds two tanks\nask Juno before you change it\n");
    assert_eq!((tables.len(), findings.len(), labels.len()), (0, 0, 3));
}

#[test]
fn tabs_of_the_log_sheet_are_told_by_their_codes() {
    let text = importer::log_sheet::csv(&importer::log_sheet::Prefill::default()).expect("a sheet");
    let text = String::from_utf8(text).expect("text");
    let lines = text.lines().flat_map(|line| match line.starts_with("coral [look_label]") {
        true => vec!["coral [look_label],2024-03-02,2024-04-02", "G1,open,off", "H2,alive,alive"],
        false => vec![line],
    });
    let text = lines.collect::<Vec<_>>().join("\r\n");
    let (tables, findings, labels) = read(&text);
    assert_eq!((findings.len(), labels.len()), (0, 0));
    let kinds: Vec<Kind> = tables.iter().map(|table| table.kind).collect();
    assert_eq!(
        kinds,
        ["about", "tanks", "kits", "corals", "looks", "tests", "sizes", "care", "happened"].map(Kind::LogSheet)
    );
    assert_eq!(tables.iter().map(|table| table.titles.len()).sum::<usize>(), 9);
    let looks = &tables[4];
    assert_eq!(looks.rows.len(), 2);
    assert_eq!(
        looks.header.iter().map(|column| column.text.as_str()).collect::<Vec<_>>(),
        ["coral [look_label]", "2024-03-02", "2024-04-02"]
    );
}

#[test]
fn a_lone_word_in_a_list_is_one_of_the_list() {
    let prefill =
        importer::log_sheet::Prefill { tanks: vec!["Kelp".to_owned(), "Fern".to_owned()], ..Default::default() };
    let text = String::from_utf8(importer::log_sheet::csv(&prefill).expect("a sheet")).expect("text");
    let (tables, findings, labels) = read(&text);
    assert_eq!(
        (tables[1].kind, tables[1].rows.len(), findings.len(), labels.len()),
        (Kind::LogSheet("tanks"), 2, 0, 0)
    );
    let text = "Label,Name,Got\nA1,Hammer,2022-05-14\nMax,Torch,\nA2\n\nWater\nDate,KH\n2024-03-02,8.2\n";
    let (tables, _) = expect(text, &[(Kind::Register, &["Label", "Name", "Got"], 3), (Kind::Wide, &["Date", "KH"], 1)]);
    assert_eq!(written(&tables[1].titles), ["Water"]);
}

#[test]
fn hidden_sheets_are_labels() {
    let row = Row {
        number: 1,
        line: None,
        cells: vec![Cell { column: 1, raw: Raw::Text("Date".to_owned()) }, Cell { column: 2, raw: Raw::Number(4.0) }],
    };
    let (tables, findings, labels) = layout::tables(&Grid { hidden: true, rows: vec![row], ..Grid::default() });
    assert_eq!((tables.len(), findings.len(), labels.len()), (0, 0, 2));
}
