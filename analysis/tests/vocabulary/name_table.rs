//! Every kind that members commonly keep: accepted name, names it went by, trade names, group, fleshiness, sting. The
//! table is kept apart from the catalogue, row by row, so that neither can drift unseen. Accepted names and stings are
//! from memory; trade names are common practice, no source.

use analysis::vocabulary::*;

/// Accepted names; names they went by → the accepted one; clear trade names → what they mean; ambiguous trade names;
/// group; fleshy; sting.
type Row = (
    &'static [&'static str],
    &'static [(&'static str, &'static str)],
    &'static [(&'static str, &'static str)],
    &'static [&'static str],
    &'static str,
    bool,
    Sting,
);

const TABLE: &[Row] = &[
    (
        &["Acropora millepora", "Acropora tenuis"],
        &[],
        &[("milli", "Acropora millepora"), ("tenuis", "Acropora tenuis")],
        &["millepora"],
        "SPS",
        false,
        Sting::Weak,
    ),
    (
        &["Acropora muricata", "Acropora valida", "Acropora yongei"],
        &[("Acropora formosa", "Acropora muricata")],
        &[("tricolour stag", "Acropora valida"), ("slimer type", "Acropora yongei")],
        &["staghorn"],
        "SPS",
        false,
        Sting::Weak,
    ),
    (
        &["Acropora hyacinthus", "Acropora echinata", "Acropora gemmifera"],
        &[],
        &[("deepwater", "Acropora echinata")],
        &["table", "finger"],
        "SPS",
        false,
        Sting::Weak,
    ),
    (
        &["Montipora capricornis", "Montipora digitata", "Montipora confusa", "Montipora danae"],
        &[],
        &[
            ("cap", "Montipora capricornis"),
            ("plating monti", "Montipora capricornis"),
            ("digi", "Montipora digitata"),
            ("encrusting monti", "Montipora"),
        ],
        &["plate"],
        "SPS",
        false,
        Sting::Weak,
    ),
    (&["Pocillopora damicornis", "Pocillopora acuta"], &[], &[], &["cauliflower"], "SPS", false, Sting::Weak),
    (
        &["Seriatopora hystrix", "Seriatopora caliendrum"],
        &[("Seriatopora guttata", "Seriatopora")],
        &[("birdsnest", "Seriatopora")],
        &[],
        "SPS",
        false,
        Sting::Weak,
    ),
    (
        &["Stylophora pistillata", "Porites cylindrica"],
        &[],
        &[
            ("stylo", "Stylophora pistillata"),
            ("cat's paw", "Stylophora pistillata"),
            ("finger porites", "Porites cylindrica"),
        ],
        &["finger"],
        "SPS",
        false,
        Sting::Weak,
    ),
    (
        &["Pavona cactus", "Pavona decussata", "Pavona maldivensis"],
        &[],
        &[("cactus", "Pavona"), ("potato chip", "Pavona")],
        &[],
        "SPS",
        false,
        Sting::Medium,
    ),
    (&["Hydnophora rigida"], &[], &[], &["horn"], "SPS", false, Sting::Strong),
    (&["Leptoseris mycetoseroides", "Psammocora"], &[], &[("lepto", "Leptoseris")], &[], "SPS", false, Sting::Weak),
    (
        &["Cyphastrea serailia", "Cyphastrea decadia"],
        &[],
        &[("meteor type", "Cyphastrea")],
        &[],
        "SPS",
        false,
        Sting::Weak,
    ),
    (
        &[
            "Goniopora",
            "Goniopora stokesi",
            "Goniopora columna",
            "Goniopora lobata",
            "Goniopora tenuidens",
            "Goniopora pandoraensis",
        ],
        &[],
        &[],
        &["flowerpot", "daisy"],
        "FLO",
        true,
        Sting::Medium,
    ),
    (&["Alveopora"], &[], &[], &["flowerpot", "daisy", "branching gonio"], "FLO", true, Sting::Weak),
    (
        &["Bernardpora stutchburyi"],
        &[("Goniopora stutchburyi", "Bernardpora stutchburyi")],
        &[("small-polyp flowerpot", "Bernardpora stutchburyi")],
        &["flowerpot"],
        "FLO",
        true,
        Sting::Weak,
    ),
    (&["Euphyllia glabrescens"], &[], &[("torch", "Euphyllia glabrescens")], &[], "LPS", true, Sting::Strong),
    (
        &["Fimbriaphyllia ancora", "Fimbriaphyllia paraancora"],
        &[("Euphyllia ancora", "Fimbriaphyllia ancora"), ("Euphyllia paraancora", "Fimbriaphyllia paraancora")],
        &[
            ("wall hammer", "Fimbriaphyllia ancora"),
            ("anchor", "Fimbriaphyllia ancora"),
            ("branching hammer", "Fimbriaphyllia paraancora"),
        ],
        &["hammer"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (
        &["Fimbriaphyllia divisa", "Fimbriaphyllia paradivisa"],
        &[("Euphyllia divisa", "Fimbriaphyllia divisa"), ("Euphyllia paradivisa", "Fimbriaphyllia paradivisa")],
        &[],
        &["frogspawn", "octospawn"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (
        &["Fimbriaphyllia yaeyamaensis"],
        &[("Euphyllia yaeyamaensis", "Fimbriaphyllia yaeyamaensis")],
        &[("grape type", "Fimbriaphyllia yaeyamaensis")],
        &["octospawn"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (&["Galaxea fascicularis"], &[], &[("galaxy", "Galaxea fascicularis")], &[], "LPS", true, Sting::Strong),
    (
        &["Catalaphyllia jardinei"],
        &[("Catalaphyllia plicata", "Catalaphyllia jardinei")],
        &[("elegance", "Catalaphyllia jardinei")],
        &[],
        "LPS",
        true,
        Sting::Strong,
    ),
    (
        &["Plerogyra sinuosa", "Physogyra lichtensteini"],
        &[],
        &[("bubble", "Plerogyra sinuosa"), ("pearl bubble", "Physogyra lichtensteini")],
        &[],
        "LPS",
        true,
        Sting::Strong,
    ),
    (&["Nemenzophyllia turbida"], &[], &[("fox", "Nemenzophyllia turbida")], &[], "LPS", true, Sting::Weak),
    (
        &["Trachyphyllia geoffroyi"],
        &[("Wellsophyllia radiata", "Trachyphyllia geoffroyi")],
        &[("open brain", "Trachyphyllia geoffroyi"), ("folded brain", "Trachyphyllia geoffroyi")],
        &["brain"],
        "LPS",
        true,
        Sting::Weak,
    ),
    (
        &["Caulastraea furcata"],
        &[("Caulastrea furcata", "Caulastraea furcata")],
        &[("candy cane", "Caulastraea furcata"), ("trumpet", "Caulastraea furcata")],
        &[],
        "LPS",
        true,
        Sting::Weak,
    ),
    (
        &["Duncanopsammia axifuga", "Duncanopsammia peltata"],
        &[("Turbinaria peltata", "Duncanopsammia peltata")],
        &[
            ("duncan", "Duncanopsammia axifuga"),
            ("whisker", "Duncanopsammia axifuga"),
            ("pagoda", "Duncanopsammia peltata"),
        ],
        &["cup"],
        "LPS",
        true,
        Sting::Weak,
    ),
    (
        &["Turbinaria reniformis"],
        &[],
        &[("yellow scroll", "Turbinaria reniformis")],
        &["cup"],
        "LPS",
        true,
        Sting::Weak,
    ),
    (
        &["Blastomussa merleti", "Blastomussa vivida"],
        &[("Blastomussa wellsi", "Blastomussa")],
        &[("blasto", "Blastomussa")],
        &[],
        "LPS",
        true,
        Sting::Weak,
    ),
    (
        &["Micromussa lordhowensis", "Acanthastrea echinata"],
        &[("Acanthastrea lordhowensis", "Micromussa lordhowensis")],
        &[("acan lord", "Micromussa lordhowensis")],
        &["acan"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (
        &["Homophyllia bowerbanki"],
        &[("Acanthastrea bowerbanki", "Homophyllia bowerbanki"), ("Acanthastrea hillae", "Homophyllia bowerbanki")],
        &[("bower", "Homophyllia bowerbanki")],
        &["acan"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (
        &["Homophyllia australis"],
        &[("Scolymia australis", "Homophyllia australis")],
        &[("scoly", "Homophyllia australis")],
        &["button"],
        "LPS",
        true,
        Sting::Weak,
    ),
    (
        &["Lobophyllia hemprichii", "Lobophyllia"],
        &[("Symphyllia", "Lobophyllia")],
        &[("lobo", "Lobophyllia hemprichii"), ("dented brain", "Lobophyllia")],
        &["brain"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (
        &["Lobophyllia vitiensis"],
        &[("Scolymia vitiensis", "Lobophyllia vitiensis"), ("Parascolymia vitiensis", "Lobophyllia vitiensis")],
        &[("Indo scoly", "Lobophyllia vitiensis")],
        &[],
        "LPS",
        true,
        Sting::Medium,
    ),
    (
        &["Lobophyllia rowleyensis"],
        &[
            ("Australomussa rowleyensis", "Lobophyllia rowleyensis"),
            ("Parascolymia rowleyensis", "Lobophyllia rowleyensis"),
        ],
        &[],
        &[],
        "LPS",
        true,
        Sting::Medium,
    ),
    (
        &["Cynarina lacrymalis", "Acanthophyllia deshayesiana"],
        &[("Cynarina deshayesiana", "Acanthophyllia deshayesiana")],
        &[("cat's eye", "Cynarina lacrymalis")],
        &["meat", "donut"],
        "LPS",
        true,
        Sting::Weak,
    ),
    (
        &["Dipsastraea", "Favites", "Favites pentagona", "Favites abdita", "Goniastrea", "Coelastrea", "Platygyra"],
        &[("Favia", "Dipsastraea"), ("Goniastrea aspera", "Coelastrea aspera")],
        &[("maze brain", "Platygyra")],
        &["brain"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (&["Leptastrea"], &[], &[], &[], "LPS", true, Sting::Weak),
    (&["Merulina"], &[], &[("ruffled", "Merulina")], &["lettuce"], "LPS", true, Sting::Medium),
    (&["Echinophyllia aspera", "Oxypora", "Mycedium elephantotus"], &[], &[], &["chalice"], "LPS", true, Sting::Strong),
    (
        &["Heliofungia actiniformis"],
        &[("Fungia actiniformis", "Heliofungia actiniformis")],
        &[("long-tentacle plate", "Heliofungia actiniformis")],
        &["plate"],
        "LPS",
        true,
        Sting::Strong,
    ),
    (
        &["Danafungia", "Lithophyllon", "Cycloseris", "Pleuractis"],
        &[("Diaseris", "Cycloseris")],
        &[],
        &["plate", "disc", "fungia"],
        "LPS",
        true,
        Sting::Medium,
    ),
    (&["Tubastraea coccinea", "Tubastraea faulkneri"], &[], &[], &["sun coral"], "NPS", true, Sting::Weak),
    (&["Dendronephthya"], &[], &[("carnation", "Dendronephthya")], &["cauliflower"], "NPS", true, Sting::Weak),
    (&["Scleronephthya"], &[], &[], &["cauliflower"], "NPS", true, Sting::Weak),
    (
        &["Sarcophyton", "Sarcophyton glaucum"],
        &[],
        &[("toadstool", "Sarcophyton")],
        &["leather", "mushroom"],
        "SOFT",
        true,
        Sting::Chemical,
    ),
    (&["Sinularia"], &[], &[("finger leather", "Sinularia")], &["leather", "finger"], "SOFT", true, Sting::Chemical),
    (&["Sclerophytum"], &[], &[], &["leather"], "SOFT", true, Sting::Chemical),
    (
        &["Capnella imbricata"],
        &[("Nephthea", "Capnella")],
        &[("Kenya tree", "Capnella imbricata")],
        &["tree"],
        "SOFT",
        true,
        Sting::Chemical,
    ),
    (&["Xenia"], &[], &[("pulsing xenia", "Xenia")], &[], "SOFT", true, Sting::Chemical),
    (
        &["Briareum violaceum", "Clavularia"],
        &[("Pachyclavularia violacea", "Briareum violaceum"), ("Clavularia viridis", "Briareum violaceum")],
        &[("green star polyps", "Briareum violaceum"), ("clove polyps", "Clavularia")],
        &["star polyp"],
        "SOFT",
        false,
        Sting::Weak,
    ),
    (
        &["Tubipora musica", "Heliopora coerulea"],
        &[],
        &[("organ pipe", "Tubipora musica"), ("blue coral", "Heliopora coerulea")],
        &[],
        "SOFT",
        false,
        Sting::Weak,
    ),
    (
        &["Zoanthus", "Palythoa"],
        &[("Protopalythoa", "Palythoa")],
        &[("zoas", "Zoanthus"), ("palys", "Palythoa")],
        &[],
        "ZOA",
        false,
        Sting::Weak,
    ),
    (&["Palythoa"], &[], &[], &["button"], "ZOA", false, Sting::Weak),
    (
        &["Ricordea yuma", "Ricordea florida", "Discosoma"],
        &[("Actinodiscus", "Discosoma")],
        &[],
        &["mushroom"],
        "MUSH",
        true,
        Sting::Weak,
    ),
    (&["Rhodactis"], &[], &[], &["mushroom"], "MUSH", true, Sting::Medium),
    (
        &["Tridacna crocea", "Tridacna maxima", "Tridacna squamosa", "Tridacna derasa", "Tridacna noae"],
        &[],
        &[
            ("crocea", "Tridacna crocea"),
            ("maxima", "Tridacna maxima"),
            ("squamosa", "Tridacna squamosa"),
            ("derasa", "Tridacna derasa"),
        ],
        &["clam"],
        "CLAM",
        true,
        Sting::Weak,
    ),
];

/// Ambiguous trade names with the kinds that carry them, genera standing for their species where the table does.
const AMBIGUOUS: &[(&str, &[&str])] = &[
    ("flowerpot", &["goniopora", "alveopora", "bernardpora"]),
    ("daisy", &["goniopora", "alveopora", "bernardpora"]),
    ("branching gonio", &["goniopora", "alveopora", "bernardpora"]),
    ("hammer", &["fimbriaphyllia-ancora", "fimbriaphyllia-paraancora"]),
    ("frogspawn", &["fimbriaphyllia-divisa", "fimbriaphyllia-paradivisa"]),
    ("octospawn", &["fimbriaphyllia-divisa", "fimbriaphyllia-paradivisa", "fimbriaphyllia-yaeyamaensis"]),
    ("acan", &["micromussa-lordhowensis", "acanthastrea", "homophyllia-bowerbanki"]),
    (
        "brain",
        &["trachyphyllia-geoffroyi", "lobophyllia", "dipsastraea", "favites", "goniastrea", "coelastrea", "platygyra"],
    ),
    ("button", &["homophyllia-australis", "cynarina-lacrymalis", "palythoa"]),
    ("meat", &["cynarina-lacrymalis", "acanthophyllia-deshayesiana"]),
    ("donut", &["cynarina-lacrymalis", "acanthophyllia-deshayesiana"]),
    ("cup", &["duncanopsammia-peltata", "turbinaria-reniformis"]),
    (
        "plate",
        &[
            "heliofungia-actiniformis",
            "danafungia",
            "lithophyllon",
            "cycloseris",
            "pleuractis",
            "montipora-capricornis",
            "discosoma",
        ],
    ),
    ("chalice", &["echinophyllia", "oxypora", "mycedium-elephantotus"]),
    ("finger", &["acropora-gemmifera", "porites-cylindrica", "sinularia"]),
    ("staghorn", &["acropora-muricata", "acropora-valida", "acropora-yongei"]),
    ("table", &["acropora-hyacinthus"]),
    ("horn", &["hydnophora-rigida"]),
    ("cauliflower", &["pocillopora", "dendronephthya", "scleronephthya"]),
    ("star polyp", &["briareum-violaceum"]),
    ("mushroom", &["discosoma", "rhodactis", "ricordea", "sarcophyton"]),
    ("leather", &["sarcophyton", "sinularia", "sclerophytum"]),
    ("tree", &["capnella-imbricata"]),
    ("lettuce", &["merulina", "pavona", "turbinaria-reniformis"]),
    ("sun coral", &["tubastraea-coccinea", "tubastraea-faulkneri"]),
    ("sea fan", &["gorgonians-photosynthetic", "gorgonians-nonphotosynthetic"]),
    ("sea whip", &["gorgonians-photosynthetic", "gorgonians-nonphotosynthetic"]),
    ("gorgonian", &["gorgonians-photosynthetic", "gorgonians-nonphotosynthetic"]),
    ("millepora", &["acropora-millepora", "millepora"]),
    ("clam", &["tridacna-crocea", "tridacna-maxima", "tridacna-squamosa", "tridacna-derasa", "tridacna-noae"]),
];

fn slug(name: &str) -> TaxonSlug {
    TaxonSlug::parse(&name.to_lowercase().replace(' ', "-")).unwrap_or_else(|| panic!("no taxon {name}"))
}

#[test]
fn every_row_of_the_table_resolves_as_it_says() {
    for (accepted, older, trade, ambiguous, group, fleshy, sting) in TABLE {
        for name in *accepted {
            let taxon = slug(name);
            assert_eq!(resolve_name(name), NameMatch::Accepted { taxon }, "{name}");
            let row = taxon.get();
            assert_eq!((row.group, row.fleshy, row.sting), (*group, *fleshy, *sting), "{name}");
        }
        for (was, now) in *older {
            assert_eq!(resolve_name(was), NameMatch::Older { taxon: slug(now), was }, "{was}");
        }
        for (name, means) in *trade {
            for written in [(*name).to_owned(), name.to_uppercase(), format!("{name} frag"), format!("small {name} #2")]
            {
                assert_eq!(resolve_name(&written).taxon(), Some(slug(means)), "{written}");
            }
        }
        for name in *ambiguous {
            let found = resolve_name(name);
            let NameMatch::Ambiguous { candidates, .. } = &found else { panic!("{name}: {found:?}") };
            let known = candidates.iter().any(|candidate| {
                accepted.iter().any(|own| {
                    let own = slug(own);
                    own.is_within(candidate.taxon) || candidate.taxon.is_within(own)
                })
            });
            assert!(known, "{name} does not offer {accepted:?}");
            // A scientific name beside it settles it, whichever comes first.
            for own in *accepted {
                let settled = |found: NameMatch| {
                    assert_eq!(found.taxon(), Some(slug(own)), "{own} / {name}");
                };
                settled(resolve_name(&format!("{own} ({name})")));
                settled(resolve_name(&format!("{name}, {own}")));
                settled(resolve_names(own, name));
                settled(resolve_names(name, own));
            }
        }
    }
}

#[test]
fn an_ambiguous_name_asks_with_its_kinds_and_their_characters() {
    for (name, kinds) in AMBIGUOUS {
        for written in [(*name).to_owned(), format!("{name}s"), format!("Large {name} frag"), format!("{name}?")] {
            let found = resolve_name(&written);
            let NameMatch::Ambiguous { candidates, .. } = &found else { panic!("{written}: {found:?}") };
            let offered: Vec<&str> = candidates.iter().map(|candidate| candidate.taxon.as_str()).collect();
            for kind in *kinds {
                assert!(offered.contains(kind), "{written} does not offer {kind}: {offered:?}");
            }
            assert!(candidates.iter().all(|candidate| !candidate.character.is_empty()), "{name}");
        }
    }
}

#[test]
fn names_as_members_write_them() {
    let cases: &[(&str, Option<&str>)] = &[
        // Shortened.
        ("A. millepora", Some("acropora-millepora")),
        ("A.millepora", Some("acropora-millepora")),
        ("A millepora", Some("acropora-millepora")),
        ("a millepora", None),
        ("Acro. millepora", Some("acropora-millepora")),
        ("Acro millepora", Some("acropora-millepora")),
        ("A. milepora", Some("acropora-millepora")),
        ("Monti capricornis", Some("montipora-capricornis")),
        ("E. ancora", Some("fimbriaphyllia-ancora")),
        ("Euph. glabrescens", Some("euphyllia-glabrescens")),
        ("Acro.", Some("acropora")),
        ("Monti cap", Some("montipora-capricornis")),
        ("Alveo 2", Some("alveopora")),
        ("Trachyphy.", Some("trachyphyllia")),
        ("Gonio", None),
        ("Goni", None),
        ("Gonia", None),
        ("jardinei", Some("catalaphyllia-jardinei")),
        ("echinata", None),
        // Open nomenclature.
        ("Acropora sp.", Some("acropora")),
        ("Acropora spp.", Some("acropora")),
        ("Acropora cf. millepora", Some("acropora")),
        ("Acropora aff. millepora", Some("acropora")),
        ("Acropora millepora?", Some("acropora-millepora")),
        ("Acropora tenuis or millepora", None),
        ("Acropora millepora/tenuis", None),
        ("Goniopora or Alveopora", None),
        // A genus and a trade name.
        ("Acropora milli", Some("acropora-millepora")),
        ("Acropora (tricolour)", Some("acropora-valida")),
        ("Euphyllia torch", Some("euphyllia-glabrescens")),
        ("Euphyllia hammer", None),
        ("Euphyllia wall hammer", Some("fimbriaphyllia-ancora")),
        ("Euphyllia frogspawn", None),
        ("Turbinaria cup", None),
        ("Goniopora flowerpot", Some("goniopora")),
        ("Acropora torch", None),
        ("Acropora stag", Some("acropora")),
        ("stag acro", Some("acropora")),
        ("mushroom leather", Some("sarcophyton")),
        // Words around it.
        ("Acropora millepora \"Harbour Lights\"", Some("acropora-millepora")),
        ("Torch - gold, 2 heads", Some("euphyllia-glabrescens")),
        ("small green torch frag #2", Some("euphyllia-glabrescens")),
        ("Grape zoas", Some("zoanthus")),
        ("Galaxy zoas x20", Some("zoanthus")),
        ("Sunny side torch", Some("euphyllia-glabrescens")),
        ("green Gonipora frag", Some("goniopora")),
        ("Gonipora stokesii blue", Some("goniopora-stokesi")),
        // Everyday words are no corals.
        ("silver", None),
        ("dragon", None),
        ("C03", None),
        ("frag 12", None),
        // German, French, Spanish, Dutch.
        ("Fackelkoralle", Some("euphyllia-glabrescens")),
        ("Blasenkorallen", Some("plerogyra-sinuosa")),
        ("Hammerkoralle", None),
        ("Hirn-Koralle", None),
        ("corail bulle", Some("plerogyra-sinuosa")),
        ("Corail à bulles", Some("plerogyra-sinuosa")),
        ("coral antorcha", Some("euphyllia-glabrescens")),
        ("coral martillo", None),
        ("hersenkoraal", None),
        ("Bénitier", None),
        ("fakkelkoraal", Some("euphyllia-glabrescens")),
        ("Goniopora vert, petit", Some("goniopora")),
    ];
    for (written, want) in cases {
        let found = resolve_name(written);
        assert_eq!(found.taxon().map(|taxon| taxon.as_str()), *want, "{written}: {found:?}");
    }
}

#[test]
fn names_in_other_languages_ask_as_the_english_ones_do() {
    for (english, others) in [
        ("hammer", &["Hammerkoralle", "corail marteau", "coral martillo", "hamerkoraal"][..]),
        ("brain", &["Hirnkoralle", "corail cerveau", "coral cerebro", "hersenkoraal"]),
        ("leather", &["Lederkoralle", "corail cuir", "coral cuero", "leerkoraal"]),
        ("flowerpot", &["Margeritenkoralle", "corail marguerite", "coral maceta", "bloempotkoraal"]),
        ("clam", &["Riesenmuschel", "bénitier", "almeja gigante", "doopvontschelp"]),
    ] {
        let want = resolve_name(english);
        assert!(matches!(want, NameMatch::Ambiguous { .. }));
        for other in others {
            assert_eq!(resolve_name(other), want, "{other}");
        }
    }
}

#[test]
fn near_names_are_ranked() {
    for (written, first) in
        [("Gonoipora stoksi", "goniopora-stokesi"), ("Acropra tenius", "acropora-tenuis"), ("montiprora", "montipora")]
    {
        let ranked = rank_names(written);
        assert_eq!(ranked.first().map(|(taxon, _)| taxon.as_str()), Some(first), "{written}: {ranked:?}");
        assert!(ranked.windows(2).all(|pair| pair[0].1 >= pair[1].1));
    }
    assert!(rank_names("").is_empty() && rank_names("zzz qqq").is_empty());
    assert_eq!(kind_words("Small green Blorp frag #2 (from the swap)"), "blorp");
    assert_eq!(kind_words("red 2"), "red 2", "never nothing");
}
