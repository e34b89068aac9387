//! Names of the demo club, and the words its members write. All invented.

use chrono::NaiveDate;

/// Name of the club.
pub const CLUB: &str = "Tarn Quay Reef Circle";

/// Handles of the members.
pub const MEMBERS: [&str; 40] = [
    "amberwick",
    "bellhaven",
    "brackenlow",
    "calderfen",
    "copsegate",
    "corrinside",
    "dapplewharf",
    "drummerick",
    "eastermoor",
    "elderstrand",
    "fallowby",
    "fennimere",
    "gannetsey",
    "gildersole",
    "harrowfen",
    "hazelspit",
    "inchmarrow",
    "islefold",
    "jennetbay",
    "kestrelhythe",
    "kelpington",
    "larkwater",
    "lowtidemer",
    "marramby",
    "merrowick",
    "nettlefold",
    "northspar",
    "oatsound",
    "ormerley",
    "pebblesham",
    "quillhaven",
    "ravenstrand",
    "rushbarrow",
    "saltergill",
    "sedgewater",
    "tarnacre",
    "thornquay",
    "underlea",
    "wrackham",
    "yarrowmouth",
];

/// Names of tanks: a member's first and second.
pub const TANKS: [(&str, &str); 10] = [
    ("Lagoon", "Nursery"),
    ("Big one", "Cube"),
    ("Hall tank", "Study tank"),
    ("Ledge", "Shallows"),
    ("Living room", "Cellar"),
    ("Reef", "Frag rack"),
    ("North wall", "South wall"),
    ("Old tank", "New tank"),
    ("Corner", "Window"),
    ("Long tank", "Tall tank"),
];

/// First day of the records.
pub fn first_day(year: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, 7, 1).unwrap_or(NaiveDate::MIN)
}

/// What members call a taxon: scientific, older or trade name with its scientific one.
pub fn coral_name(slug: &str, variant: usize) -> &'static str {
    let names: &[&str] = match slug {
        "goniopora" => &["Goniopora sp.", "Goniopora", "Goniopora spp"],
        "alveopora" => &["Alveopora sp.", "Alveopora"],
        "acropora-millepora" => &["Acropora millepora", "A. millepora", "Acropora millepora"],
        "montipora-digitata" => &["Montipora digitata", "digi", "Montipora digitata"],
        "seriatopora-hystrix" => &["Seriatopora hystrix", "Seriatopora histrix"],
        "euphyllia-glabrescens" => &["Euphyllia glabrescens", "torch", "torch coral"],
        "fimbriaphyllia-ancora" => &["Euphyllia ancora", "Fimbriaphyllia ancora", "wall hammer"],
        "catalaphyllia-jardinei" => &["Catalaphyllia jardinei", "elegance", "elegance coral"],
        "plerogyra-sinuosa" => &["Plerogyra sinuosa", "bubble coral"],
        "heliofungia-actiniformis" => &["Heliofungia actiniformis", "Fungia actiniformis"],
        _ => &["unknown coral"],
    };
    names[variant % names.len()]
}

/// The first letters of a label.
pub fn label_stem(slug: &str) -> &'static str {
    match slug {
        "goniopora" => "Goni",
        "alveopora" => "Alveo",
        "acropora-millepora" => "Milli",
        "montipora-digitata" => "Digi",
        "seriatopora-hystrix" => "Nest",
        "euphyllia-glabrescens" => "Torch",
        "fimbriaphyllia-ancora" => "Anchor",
        "catalaphyllia-jardinei" => "Eleg",
        "plerogyra-sinuosa" => "Bubble",
        "heliofungia-actiniformis" => "Disc",
        _ => "Coral",
    }
}

/// How members write a death.
pub const DEATHS: [&str; 8] =
    ["died", "found dead", "dead", "died, no idea why", "melted", "dead, tissue gone overnight", "RIP", "died slowly"];

/// How members write a loss in a tank's incident.
pub const INCIDENT_DEATH: &str = "dead, heater stuck on";

/// How members write that they gave one away.
pub const LEAVINGS: [&str; 3] = ["given away", "sold", "swapped"];

/// Wild stock as written.
pub const WILD: [&str; 3] = ["wild", "wild collected", "wild"];

/// Captive stock as written.
pub const CAPTIVE: [&str; 3] = ["captive grown", "frag from a member", "tank raised"];

/// How members write down a condition from 5 to 1.
pub fn look(condition: u8, variant: usize) -> &'static str {
    let words: &[&str] = match condition {
        5 => &["growing", "open"],
        4 => &["open", "good", "open", "fully open"],
        3 => &["off", "pale", "half open"],
        2 => &["poor", "bad"],
        _ => &["dying", "poor"],
    };
    words[variant % words.len()]
}
