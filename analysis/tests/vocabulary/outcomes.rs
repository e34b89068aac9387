//! Fates, causes, origins, looks, incidents, sizes, routines and small words, as members write them.

use analysis::vocabulary::*;

fn fate(text: &str) -> (Fate, Option<&'static str>, Vec<&'static str>) {
    match find_fate(text) {
        FateMatch::Fate { fate, cause, manner, .. } => (fate, cause.map(|cause| cause.code), manner),
        other => panic!("`{text}`: {other:?}"),
    }
}

#[test]
fn deaths_as_members_write_them() {
    for (text, cause, manner) in [
        ("dead", None, vec![]),
        ("RIP", None, vec![]),
        ("R.I.P.", None, vec![]),
        ("found dead", None, vec![]),
        ("died on holiday", None, vec![]),
        ("Died while we were on holiday", None, vec![]),
        ("melted", None, vec![]),
        ("skeleton only", None, vec![]),
        ("thrown out dead", None, vec![]),
        ("closed up, dead", None, vec!["closed_and_shrank"]),
        ("dead, heater stuck on", Some("heater"), vec![]),
        ("RTN, dead by morning", None, vec!["rapid_loss"]),
        ("bleached and died", None, vec!["bleached"]),
        ("brown jelly, died", None, vec!["brown_jelly"]),
        ("eaten by a crab", Some("crab_shrimp"), vec![]),
        ("eaten overnight", Some("other_pest"), vec![]),
        ("eaten", Some("other_pest"), vec![]),
        ("was eaten", Some("other_pest"), vec![]),
        ("killed by the heat wave", Some("temperature_off"), vec![]),
        ("dead. Heater stuck", Some("heater"), vec![]),
        ("lost it, died in the power cut", Some("power_cut"), vec![]),
        ("tank closed, all died", None, vec![]),
        ("tot", None, vec![]),
        ("gestorben, Heizer defekt", Some("heater"), vec![]),
        ("mort, coupure de courant", Some("power_cut"), vec![]),
        ("murió", None, vec![]),
        ("doodgegaan", None, vec![]),
    ] {
        assert_eq!(fate(text), (Fate::Died, cause, manner), "`{text}`");
    }
}

#[test]
fn other_fates() {
    for (text, want) in [
        ("vanished", Fate::Missing),
        ("missing, presumed dead", Fate::Missing),
        ("fell behind the rock", Fate::Missing),
        ("verschwunden", Fate::Missing),
        ("all of it cut up", Fate::CutUp),
        ("moved house", Fate::TankClosed),
        ("sold up", Fate::TankClosed),
        ("left the club", Fate::KeeperLeft),
        ("DOA", Fate::ArrivedDead),
        ("dead in the bag", Fate::ArrivedDead),
        ("given away", Fate::Left),
        ("tank shut, given to a member", Fate::Left),
    ] {
        assert_eq!(fate(text).0, want, "`{text}`");
    }
    for (text, want) in [
        ("given to Ann", "given"),
        ("given", "given"),
        ("given, still open", "given"),
        ("swapped", "swapped"),
        ("returned", "returned"),
        ("sold", "sold"),
        ("traded in", "swapped"),
        ("returned to the shop", "returned"),
        ("passed to a member", "passed_in_club"),
    ] {
        let FateMatch::Fate { fate: Fate::Left, kind, .. } = find_fate(text) else { panic!("`{text}`") };
        assert_eq!(kind, Some(want), "`{text}`");
    }
}

#[test]
fn words_that_do_not_say_which_fate_are_asked() {
    for (text, want) in [
        ("gone", "gone"),
        ("Gone", "gone"),
        ("gone 12 May", "gone"),
        ("lost", "lost"),
        ("off", "off"),
        ("removed", "removed"),
        ("taken out", "removed"),
        ("RTN", "RTN"),
        ("STN from the base", "STN"),
        ("lost in the power cut", "lost"),
        ("verloren", "lost"),
        ("never recovered", "not recovered"),
        ("hat sich nie mehr erholt", "not recovered"),
        ("jamais remise", "not recovered"),
        ("nunca se recuperó", "not recovered"),
        ("nooit meer hersteld", "not recovered"),
    ] {
        let FateMatch::Unclear { word, .. } = find_fate(text) else { panic!("`{text}`: {:?}", find_fate(text)) };
        assert_eq!(word, want, "`{text}`");
    }
}

#[test]
fn living_corals_and_cuttings() {
    for (text, signs) in [
        ("alive", vec![]),
        ("doing well", vec![]),
        ("recession at base", vec!["receding"]),
        ("not yet recovered", vec![]),
        ("noch nicht erholt", vec![]),
        ("half dead", vec!["part_dead"]),
        ("not dead", vec![]),
        ("dead tips, alive", vec!["part_dead"]),
        ("lost 2 heads", vec!["part_dead"]),
        ("bleached", vec!["bleached"]),
        ("closed, pale", vec!["closed", "pale"]),
        ("lost colour", vec!["pale"]),
        ("still alive after RTN", vec!["rapid_loss"]),
        ("being eaten", vec!["pests"]),
    ] {
        assert_eq!(find_fate(text), FateMatch::Alive { signs }, "`{text}`");
    }
    assert_eq!(find_fate("fragged into 3"), FateMatch::Cut { pieces: Some(3) });
    assert_eq!(find_fate("fragged today"), FateMatch::Cut { pieces: None });
    assert_eq!(find_fate("cut into two"), FateMatch::Cut { pieces: Some(2) });
    assert_eq!(find_fate("fragged, two given away"), FateMatch::Cut { pieces: None });
    let rescue = |pieces, manner| FateMatch::RescueCut { pieces, cause: None, manner };
    assert_eq!(find_fate("RTN, saved 3 frags"), rescue(Some(3), vec!["rapid_loss"]));
    assert_eq!(find_fate("died, saved a frag"), rescue(Some(1), vec![]));
    assert_eq!(find_fate("saved some frags"), rescue(None, vec![]));
    assert_eq!(find_fate("sold or died"), FateMatch::Several { fates: vec![Fate::Left, Fate::Died], alive: false });
    assert_eq!(find_fate("dead? no, alive"), FateMatch::Several { fates: vec![Fate::Died], alive: true });
    for text in [
        "",
        "?",
        "new salt",
        "moved to the left",
        "heater died",
        "dead snail removed from tank 2",
        "on holiday",
        "the heater was off",
        "given more light",
        "polyps returned",
        "swapped the lamp",
        "killed aiptasia",
        "has eaten mysis",
        "missing a head",
    ] {
        let found = find_fate(text);
        assert!(!matches!(found, FateMatch::Fate { .. } | FateMatch::Several { .. }), "`{text}`: {found:?}");
    }
    assert_eq!(find_fate("new salt"), FateMatch::NoWord);
}

/// The register of an invented keeper: what happened to each.
#[test]
fn what_happened_in_a_register() {
    assert_eq!(find_fate(""), FateMatch::NoWord);
    assert_eq!(fate("closed up, dead").0, Fate::Died);
    assert_eq!(fate("found dead").0, Fate::Died);
    assert!(matches!(find_fate("RTN"), FateMatch::Unclear { word: "RTN", .. }));
    assert!(matches!(find_fate("fragged into 3"), FateMatch::Cut { .. }));
    assert_eq!(find_fate("alive"), FateMatch::Alive { signs: vec![] });
    assert_eq!(fate("died on holiday").0, Fate::Died);
    assert!(matches!(find_fate("recession at base"), FateMatch::Alive { .. }));
    assert_eq!(fate("dead, heater stuck on"), (Fate::Died, Some("heater"), vec![]));
    assert!(matches!(find_fate("gone"), FateMatch::Unclear { word: "gone", .. }));
    assert!(matches!(find_fate("lost"), FateMatch::Unclear { word: "lost", .. }));
    assert!(matches!(find_fate("RTN, saved 3 frags"), FateMatch::RescueCut { pieces: Some(3), .. }));
    assert_eq!(fate("vanished"), (Fate::Missing, None, vec![]));
}

#[test]
fn every_code_has_its_words() {
    use std::collections::BTreeSet;
    let causes = catalogue().causes();
    assert_eq!(causes.len(), 35);
    for group in CauseGroup::ALL {
        assert!(causes.iter().any(|cause| cause.group == *group), "{group} has no cause");
    }
    for cause in causes {
        assert_eq!(find_cause(cause.code), Some(cause), "{}", cause.code);
        assert_eq!(Cause::parse(cause.code), Some(cause));
    }
    for origin in Origin::ALL {
        assert_eq!(find_origin(origin.as_str()), Some(*origin));
    }
    for basis in OriginBasis::ALL {
        assert_eq!(find_origin_basis(basis.as_str()), Some(*basis));
    }
    for state in LookState::ALL {
        assert_eq!(find_condition(state.as_str()).map(|look| look.state), Some(*state));
    }
    for (terms, find) in [
        (catalogue().incidents(), find_incident as fn(&str) -> Option<&'static Term>),
        (catalogue().happenings(), find_happening),
        (catalogue().routines(), find_routine),
        (catalogue().flow_words(), find_flow_word),
        (catalogue().height_words(), find_height_word),
        (catalogue().closings(), find_closing),
    ] {
        for term in terms {
            assert_eq!(find(term.code).map(|found| found.code), Some(term.code));
            for word in &term.words {
                assert_eq!(find(word).map(|found| found.code), Some(term.code), "{word}");
            }
        }
    }
    for kind in catalogue().source_kinds() {
        for word in &kind.words {
            assert_eq!(find_source_kind(word), Some(SourceMatch { kind: kind.code, bare: true }), "{word}");
        }
    }
    for measure in catalogue().measures() {
        assert_eq!(find_measure(measure.code).map(|found| found.measure.code), Some(measure.code));
        assert_eq!(measure.convert(7.0, measure.unit.as_str()), Some(7.0));
    }
    for basis in catalogue().size_bases() {
        assert_eq!(find_size_basis(basis.code), Some(basis));
    }
    // Every fate can be written.
    let mut written = BTreeSet::new();
    for text in ["dead", "missing", "sold", "cut up", "tank closed", "left the club", "doa"] {
        written.insert(fate(text).0);
    }
    assert_eq!(written.len(), Fate::ALL.len());
}

#[test]
fn causes_origins_and_sources() {
    for (text, code) in [
        ("heater", "heater"),
        ("Heater stuck", "heater"),
        ("eaten", "other_pest"),
        ("overdose", "overdose"),
        ("alk swing", "water_swing"),
        ("jumped out, dried out", "dried_out"),
        ("stung by hammer", "stung"),
        ("unknown", "not_said"),
        ("?", "not_said"),
        ("guess", "guess_only"),
        ("Stromausfall", "power_cut"),
        ("nudis", "nudibranch"),
        ("starved", "unfed"),
    ] {
        assert_eq!(find_cause(text).map(|cause| cause.code), Some(code), "`{text}`");
    }
    assert_eq!(find_cause("who knows what happened"), None);
    assert_eq!(find_cause_in_remark("new fish and more light"), None);
    for (text, origin) in [
        ("wild", Origin::WildCollected),
        ("maricultured", Origin::Maricultured),
        ("frag swap", Origin::CaptiveGrown),
        ("tank raised", Origin::CaptiveGrown),
        ("captive", Origin::CaptiveGrown),
        ("captive bred", Origin::CaptiveBred),
        ("cultured", Origin::FarmedUnclear),
        ("aquacultured", Origin::FarmedUnclear),
        ("farmed", Origin::FarmedUnclear),
        ("farmed in the sea", Origin::Maricultured),
        ("?", Origin::Unknown),
        ("Wildfang", Origin::WildCollected),
        ("Nachzucht", Origin::CaptiveGrown),
        ("bouture", Origin::CaptiveGrown),
    ] {
        assert_eq!(find_origin(text), Some(origin), "`{text}`");
    }
    assert_eq!(find_origin(""), None);
    assert_eq!(find_origin("the shop in Mill Lane"), None);
    assert_eq!(find_origin("wild or cultured"), None, "two origins are no origin");
    assert_eq!(find_source_kind("the shop in Mill Lane"), Some(SourceMatch { kind: "shop", bare: false }));
    assert_eq!(find_source_kind("frag swap"), Some(SourceMatch { kind: "event", bare: true }));
    assert_eq!(find_source_kind("Ann"), None);
}

#[test]
fn looks_incidents_and_sizes() {
    let look = |text| find_condition(text).map(|look| (look.state, look.score));
    assert_eq!(look("open"), Some((LookState::Open, Some(4))));
    assert_eq!(look("growing"), Some((LookState::Open, Some(5))));
    assert_eq!(look("poor"), Some((LookState::Poor, Some(2))));
    assert_eq!(look("1"), Some((LookState::Poor, Some(1))));
    assert_eq!(look("ok"), Some((LookState::Alive, None)));
    assert_eq!(look("6"), None);
    let incident = |text| find_incident(text).map(|term| term.code);
    assert_eq!(incident("heater stuck on overnight"), Some("heater"));
    assert_eq!(find_incident_in_remark("power cut, 6 hours").map(|term| term.code), Some("power_cut"));
    assert_eq!(find_incident_in_remark("heater set to 25"), None);
    assert_eq!(incident("new lamp"), Some("new_lamp"));
    let measure = |text| find_measure(text).map(|found| (found.measure.code, found.basis));
    assert_eq!(measure("dia"), Some(("max_diameter", None)));
    assert_eq!(measure("across"), Some(("max_diameter", None)));
    assert_eq!(measure("heads"), Some(("head_count", Some("heads"))));
    assert_eq!(measure("buoyant"), Some(("buoyant_weight", Some("skeleton"))));
    assert_eq!(measure("width open (mm)"), Some(("max_diameter", Some("open_tissue"))));
    assert_eq!(measure("Durchmesser"), Some(("max_diameter", None)));
    assert_eq!(measure("colour"), None);
    let diameter = Measure::parse("max_diameter").expect("a measure");
    assert_eq!(diameter.convert(3.2, "cm"), Some(32.0));
    assert_eq!(diameter.convert(2.5, "in"), Some(63.5));
    assert_eq!(diameter.convert(2.5, "\""), Some(63.5));
    assert_eq!(diameter.convert(1.0, "g"), None);
    assert_eq!(Measure::parse("planar_area").expect("a measure").convert(1.0, "in²"), Some(645.16));
    for (text, code) in [("skeleton", "skeleton"), ("open tissue", "open_tissue"), ("closed", "closed_tissue")] {
        assert_eq!(find_size_basis(text).map(|basis| basis.code), Some(code));
    }
    let growth: Vec<_> = catalogue().size_bases().iter().filter(|basis| basis.growth).map(|basis| basis.code).collect();
    assert_eq!(growth, ["skeleton", "base", "heads"]);
}

#[test]
fn looks_and_sizes_in_five_languages() {
    for (state, words) in [
        (LookState::Open, "wide open|weit offen|bien ouverte|muy abierta|helemaal open"),
        (LookState::Off, "retracted|eingezogen|rétractée|retraída|ingetrokken"),
        (LookState::Off, "half open|halb offen|à moitié ouvert|medio abierto|half gesloten"),
        (LookState::Off, "pale|blass|pâle|pálida|bleek"),
        // Words beside a look leave it what it is; others do not.
        (LookState::Open, "open again|wieder offen|de nouveau ouvert|otra vez abierta|weer open"),
        (LookState::Open, "very swollen|schön aufgepumpt|bien gonflée|muy hinchado|flink opgezwollen"),
        (LookState::Off, "still closed|immer noch zu|toujours fermée|sigue cerrada|nog steeds dicht"),
        (
            LookState::Off,
            "fully retracted again|wieder ganz eingezogen|encore tout rétracté|todavía muy encogido|weer helemaal dicht",
        ),
        (LookState::Poor, "nearly dead|fast tot|presque mort|casi muerta|bijna dood"),
        (LookState::Dead, "died|gestorben|morte|murió|doodgegaan"),
        (LookState::Left, "given away|verschenkt|donné|regalado|weggegeven"),
        (LookState::NotFound, "vanished|verschwunden|disparue|desaparecida|verdwenen"),
    ] {
        for word in words.split('|') {
            assert_eq!(find_condition(word).map(|look| look.state), Some(state), "{word}");
        }
    }
    for word in ["again", "nicht mehr ganz offen heute", "still", "open but pale", "wieder"] {
        assert_eq!(find_condition(word).map(|look| look.state), None, "{word}");
    }
    for (code, basis, words) in [
        (
            "max_diameter",
            Some("base"),
            "base diameter|Basisdurchmesser|Diamètre de la base|Diámetro de la base|Voetdiameter",
        ),
        (
            "max_diameter",
            Some("skeleton"),
            "diameter of the skeleton|Durchmesser Skelett|diamètre du squelette|diámetro del esqueleto|doorsnede skelet",
        ),
        (
            "max_diameter",
            Some("base"),
            "diameter at the foot|Durchmesser am Fuß|diamètre du pied|diámetro base|doorsnede voet",
        ),
        ("height", None, "height (mm)|Höhe der Kolonie|hauteur|altura del coral|hoogte koraal"),
        ("head_count", Some("heads"), "number of heads|Anzahl Köpfe|nombre de têtes|nº de cabezas|aantal koppen"),
        ("head_count", Some("heads"), "polyp count|Polypenzahl|nb de polypes|número de pólipos|aantal poliepen"),
        ("branch_count", None, "number of branches|Astzahl|nombre de branches|número de ramas|aantal takken"),
    ] {
        for word in words.split('|') {
            let found = find_measure(word).map(|found| (found.measure.code, found.basis));
            assert_eq!(found, Some((code, basis)), "{word}");
        }
    }
}

#[test]
fn ways_a_coral_leaves_in_five_languages() {
    for (want, words) in [
        ("given", "given away|verschenkt am|donné le|regalado|weggegeven op"),
        ("sold", "sold|verkauft am|vendue le|vendido|verkocht"),
        ("swapped", "swapped|getauscht|échangé|intercambiado|geruild"),
        ("returned", "returned to the shop|zurückgegeben am|rendue|devuelto|teruggebracht"),
    ] {
        for word in words.split('|') {
            let FateMatch::Fate { fate: Fate::Left, kind, .. } = find_fate(word) else { panic!("`{word}`") };
            assert_eq!(kind, Some(want), "`{word}`");
        }
    }
}

#[test]
fn what_was_done_to_a_tank_stands_alone() {
    let routines: Vec<&str> = catalogue().routines().iter().map(|term| term.code).collect();
    for (code, words) in [
        ("water_change", "water change|Wasserwechsel|changement d'eau|cambio de agua|waterverversing"),
        ("carbon", "carbon changed|Kohle gewechselt|charbon changé|carbón cambiado|kool vervangen"),
        ("broadcast_feed", "fed the corals|Korallen gefüttert|coraux nourris|corales alimentados|koralen gevoerd"),
    ] {
        assert!(routines.contains(&code));
        for word in words.split('|') {
            assert_eq!(find_done(word), Some(DoneMatch { code, amount: None }), "{word}");
        }
    }
    for (text, amount) in [
        ("water change 20 L", "20 l"),
        ("WW 10%", "10 %"),
        ("20L water change", "20l"),
        ("15 % Wasserwechsel", "15 %"),
        ("water change of 10 %", "10 %"),
        ("changement d'eau de 10 %", "10 %"),
        ("cambio de agua del 10 %", "10 %"),
        ("waterwissel van 10 %", "10 %"),
    ] {
        assert_eq!(
            find_done(text),
            Some(DoneMatch { code: "water_change", amount: Some(amount.to_owned()) }),
            "{text}"
        );
    }
    for text in
        ["", "no water change", "water change tomorrow", "water change 3 days late", "carbon", "20 L", "not fed"]
    {
        assert_eq!(find_done(text), None, "{text}");
    }
}

#[test]
fn how_often() {
    for (text, per_week) in [
        ("daily", 7.0),
        ("Daily", 7.0),
        ("eod", 3.5),
        ("every other day", 3.5),
        ("twice a week", 2.0),
        ("2x/week", 2.0),
        ("3/week", 3.0),
        ("3 times per week", 3.0),
        ("once a fortnight", 0.5),
        ("weekly", 1.0),
        ("once a week", 1.0),
        ("every 2 weeks", 0.5),
        ("every 3 days", 7.0 / 3.0),
        ("twice daily", 14.0),
        ("2x a day", 14.0),
        ("never", 0.0),
        ("a week", 1.0),
        ("1.5 per week", 1.5),
        ("zweimal pro Woche", 2.0),
        ("alle 2 Tage", 3.5),
        ("täglich", 7.0),
        ("deux fois par semaine", 2.0),
        ("tous les 2 jours", 3.5),
        ("dos veces por semana", 2.0),
        ("2 keer per week", 2.0),
        ("dagelijks", 7.0),
        ("monthly", 7.0 * 12.0 / 365.25),
        ("once a month", 7.0 * 12.0 / 365.25),
        ("2-3 times a week", 2.5),
        ("2 to 3 times a week", 2.5),
    ] {
        let got = find_routine_rate(text).unwrap_or_else(|| panic!("`{text}` does not convert")).per_week();
        assert!((got - per_week).abs() < 1e-12, "`{text}`: {got}");
    }
    assert_eq!(find_routine_rate("2-3 times a week"), Some(RoutineRate { low: 2.0, high: 3.0 }));
    for text in ["", "often", "when I remember", "a pinch", "3", "week", "every", "every 0 days", "10%", "-1 a week of"]
    {
        assert_eq!(find_routine_rate(text), None, "`{text}`");
    }
}

#[test]
fn small_words() {
    for text in [
        "",
        " ",
        "-",
        "–",
        "—",
        "/",
        "n/a",
        "N/A",
        "na",
        "nt",
        "k.A.",
        "not tested",
        "Not measured",
        "no test",
        "skipped",
        "closed - not measured",
    ] {
        assert!(is_no_reading(text), "`{text}`");
    }
    for text in ["forgot", "good", "ok", "0", "nd", "trace", "8.2", "?", "none"] {
        assert!(!is_no_reading(text), "`{text}` is no word for nothing measured");
    }
    for text in ["ND", "n.d.", "n.n.", "BDL", "nd"] {
        assert!(is_below_limit(text), "`{text}`");
    }
    assert!(is_trace_word("Trace") && is_trace_word("Spuren") && !is_trace_word("track"));
    for text in ["Average", "AVG", "Mean", "Ø", "total", "Mittelwert", "moyenne", "max", "Max NO3", "Average 2023"] {
        assert!(is_summary_word(text), "`{text}`");
    }
    assert!(!is_summary_word("Alder") && !is_summary_word("magnesium"));
    assert!(is_approximate_mark("~") && is_approximate_mark("ca.") && is_approximate_mark("ish"));
    assert_eq!((yes_or_no("Yes"), yes_or_no("nein"), yes_or_no("perhaps")), (Some(true), Some(false), None));
    assert!(is_unknown_word("?") && is_unknown_word("don't know"));
    assert!(is_legend_word("Notes") && is_legend_word("Bemerkungen"));
    for (name, number) in [
        ("Jan", 1),
        ("February", 2),
        ("März", 3),
        ("Maerz", 3),
        ("avril", 4),
        ("mei", 5),
        ("Juni", 6),
        ("JUIL.", 7),
        ("août", 8),
        ("Sept", 9),
        ("Okt.", 10),
        ("noviembre", 11),
        ("Dez", 12),
        ("déc.", 12),
        ("enero", 1),
        ("mrt", 3),
    ] {
        assert_eq!(month_by_name(name), Some(number), "{name}");
    }
    assert_eq!(month_by_name("Monday"), None);
    assert_eq!((number_word("three"), number_word("Zwölf"), number_word("many")), (Some(3), Some(12), None));
}
