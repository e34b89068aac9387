//! Names of corals: accepted, older, trade, ambiguous, misspelt.

use analysis::vocabulary::*;

fn slug(text: &str) -> TaxonSlug {
    TaxonSlug::parse(text).unwrap_or_else(|| panic!("no taxon {text}"))
}

fn accepted(text: &str) -> NameMatch {
    NameMatch::Accepted { taxon: slug(text) }
}

#[test]
fn every_name_of_the_catalogue_resolves() {
    for taxon in catalogue().taxa() {
        assert_eq!(TaxonSlug::parse(taxon.slug.as_str()), Some(taxon.slug));
        assert!(!taxon.slug.as_str().contains(' '));
        if taxon.rank != Rank::Group && taxon.name != "Millepora" {
            assert_eq!(resolve_name(taxon.name), NameMatch::Accepted { taxon: taxon.slug });
            assert_eq!(resolve_name(&taxon.name.to_uppercase()), NameMatch::Accepted { taxon: taxon.slug });
        }
        for older in &taxon.older_names {
            let found = resolve_name(older);
            assert_eq!(found, NameMatch::Older { taxon: taxon.slug, was: older }, "{older}");
        }
    }
    for name in catalogue().trade_names() {
        for word in &name.words {
            let found = resolve_name(word);
            if name.is_ambiguous() {
                let NameMatch::Ambiguous { candidates, .. } = found else {
                    panic!("`{word}` must be asked: {found:?}")
                };
                assert_eq!(candidates, name.candidates);
                assert!(candidates.iter().all(|candidate| !candidate.character.is_empty()), "{word}");
            } else {
                assert_eq!(found, NameMatch::Trade { taxon: name.candidates[0].taxon }, "{word}");
            }
        }
    }
}

#[test]
fn ambiguous_trade_names_are_always_asked() {
    for word in [
        "flowerpot",
        "daisy",
        "branching gonio",
        "hammer",
        "frogspawn",
        "octospawn",
        "acan",
        "brain",
        "button",
        "meat",
        "donut",
        "cup",
        "plate",
        "disc",
        "chalice",
        "finger",
        "staghorn",
        "table",
        "horn",
        "cauliflower",
        "star polyp",
        "mushroom",
        "leather",
        "tree",
        "lettuce",
        "sun coral",
        "sea fan",
        "whip",
        "gorgonian",
        "millepora",
        "clam",
    ] {
        assert!(matches!(resolve_name(word), NameMatch::Ambiguous { .. }), "{word}: {:?}", resolve_name(word));
        let written = format!("Red {word}s (from the swap)");
        assert!(
            matches!(resolve_name(&written), NameMatch::Ambiguous { .. }),
            "{written}: {:?}",
            resolve_name(&written)
        );
    }
}

#[test]
fn names_as_members_write_them() {
    for (text, want) in [
        ("Goniopora sp.", accepted("goniopora")),
        ("Goniopora spp", accepted("goniopora")),
        ("goniopora, red", accepted("goniopora")),
        ("Goniopora cf. stokesi", accepted("goniopora")),
        ("Goniopora stokesi Milne Edwards & Haime, 1851", accepted("goniopora-stokesi")),
        ("Goniopora stokesi var. minor", accepted("goniopora-stokesi")),
        ("Acropora millepora", accepted("acropora-millepora")),
        ("A. millepora", accepted("acropora-millepora")),
        ("Acropora loripes", accepted("acropora")),
        ("acropora staghorn", accepted("acropora")),
        ("flowerpot (Alveopora)", accepted("alveopora")),
        ("hammer, Fimbriaphyllia ancora", accepted("fimbriaphyllia-ancora")),
        ("Dipsastraea favus", accepted("dipsastraea")),
        ("Millepora sp.", accepted("millepora")),
        ("Euphyllia ancora", NameMatch::Older { taxon: slug("fimbriaphyllia-ancora"), was: "Euphyllia ancora" }),
        ("E. ancora", NameMatch::Older { taxon: slug("fimbriaphyllia-ancora"), was: "Euphyllia ancora" }),
        ("Favia", NameMatch::Older { taxon: slug("dipsastraea"), was: "Favia" }),
        ("Favia sp.", NameMatch::Older { taxon: slug("dipsastraea"), was: "Favia" }),
        ("Favia pallida", NameMatch::Older { taxon: slug("dipsastraea"), was: "Favia" }),
        (
            "Acanthastrea lordhowensis",
            NameMatch::Older { taxon: slug("micromussa-lordhowensis"), was: "Acanthastrea lordhowensis" },
        ),
        (
            "Goniopora stutchburyi",
            NameMatch::Older { taxon: slug("bernardpora-stutchburyi"), was: "Goniopora stutchburyi" },
        ),
        ("Blastomussa wellsi", NameMatch::Older { taxon: slug("blastomussa"), was: "Blastomussa wellsi" }),
        ("torch", NameMatch::Trade { taxon: slug("euphyllia-glabrescens") }),
        ("Torch Coral", NameMatch::Trade { taxon: slug("euphyllia-glabrescens") }),
        ("green torch", NameMatch::Trade { taxon: slug("euphyllia-glabrescens") }),
        ("green star polyps", NameMatch::Trade { taxon: slug("briareum-violaceum") }),
        ("Zoas", NameMatch::Trade { taxon: slug("zoanthus") }),
        ("wall hammer", NameMatch::Trade { taxon: slug("fimbriaphyllia-ancora") }),
        ("small-polyp flowerpot", NameMatch::Trade { taxon: slug("bernardpora-stutchburyi") }),
        ("Gonipora", NameMatch::Spelling { taxon: slug("goniopora"), written: "Goniopora", distance: 1 }),
        (
            "Acropora milepora",
            NameMatch::Spelling { taxon: slug("acropora-millepora"), written: "Acropora millepora", distance: 1 },
        ),
        (
            "Catalaphylia jardinei",
            NameMatch::Spelling {
                taxon: slug("catalaphyllia-jardinei"),
                written: "Catalaphyllia jardinei",
                distance: 1,
            },
        ),
        ("Goniopora Alveopora", NameMatch::Near(vec![slug("alveopora"), slug("goniopora")])),
        ("", NameMatch::Unknown),
        ("???", NameMatch::Unknown),
        ("purple thing", NameMatch::Unknown),
        ("C03", NameMatch::Unknown),
    ] {
        assert_eq!(resolve_name(text), want, "`{text}`");
    }
    assert!(
        matches!(resolve_name("flowerpto"), NameMatch::Ambiguous { name: "flowerpot", .. }),
        "a misspelt ambiguous name is asked too"
    );
}

/// The register of an invented keeper: (name, trade name, what it becomes).
#[test]
fn a_register_with_old_and_trade_names() {
    let older = |taxon: &str, was: &'static str| NameMatch::Older { taxon: slug(taxon), was };
    for (name, trade, want) in [
        ("Euphyllia ancora", "hammer", older("fimbriaphyllia-ancora", "Euphyllia ancora")),
        ("Goniopora sp.", "flowerpot, 12 tentacles", accepted("goniopora")),
        ("Favia sp.", "brain", older("dipsastraea", "Favia")),
        ("Acropora millepora", "", accepted("acropora-millepora")),
        ("Zoanthus", "zoas", accepted("zoanthus")),
        ("Montipora capricornis", "cap", accepted("montipora-capricornis")),
        ("Scolymia australis", "scoly", older("homophyllia-australis", "Scolymia australis")),
        ("Alveopora sp.", "flowerpot", accepted("alveopora")),
        ("Tridacna crocea", "clam", accepted("tridacna-crocea")),
        ("Euphyllia glabrescens", "torch", accepted("euphyllia-glabrescens")),
        ("Catalaphyllia jardinei", "elegance", accepted("catalaphyllia-jardinei")),
        ("Acropora tenuis", "", accepted("acropora-tenuis")),
        ("Ricordea yuma", "mushroom", accepted("ricordea-yuma")),
    ] {
        assert_eq!(resolve_names(name, trade), want, "{name} / {trade}");
    }
    let bare = resolve_names("", "millepora");
    let NameMatch::Ambiguous { candidates, .. } = bare else { panic!("{bare:?}") };
    assert_eq!(candidates.iter().map(|c| c.taxon.as_str()).collect::<Vec<_>>(), ["acropora-millepora", "millepora"]);
    // Twelve tentacles are Alveopora's, whatever the name says.
    assert_eq!(tentacles_said("flowerpot, 12 tentacles"), Some(12));
    assert_eq!(slug("goniopora").get().tentacles, Some(24));
    assert_eq!(slug("goniopora-stokesi").get().tentacles, Some(24));
    assert_eq!(slug("alveopora").get().tentacles, Some(12));
    assert_eq!(tentacles_said("twelve tentacles"), Some(12));
    assert_eq!(tentacles_said("12 polyps"), None);
}

#[test]
fn ancestors_and_fallback() {
    let of = |text: &str| slug(text).ancestors().iter().map(|taxon| taxon.as_str()).collect::<Vec<_>>();
    assert_eq!(of("acropora-millepora"), ["acropora-millepora", "acropora", "sps"]);
    assert_eq!(of("goniopora"), ["goniopora", "flo"]);
    assert_eq!(of("lps"), ["lps"]);
    assert!(slug("acropora-tenuis").is_within(slug("sps")) && !slug("acropora").is_within(slug("acropora-tenuis")));
    // Of the flowerpots only Goniopora would be left without its look-alikes: the step is skipped.
    assert_eq!(slug("goniopora-stokesi").fallback(), [Fallback::Genus(slug("goniopora"))]);
    let steps = slug("euphyllia-glabrescens").fallback();
    let [Fallback::Genus(genus), Fallback::GroupWithout { group, without, genera }] = steps.as_slice() else {
        panic!("{steps:?}")
    };
    assert_eq!((*genus, *group), (slug("euphyllia"), slug("lps")));
    assert_eq!(*without, [slug("catalaphyllia"), slug("fimbriaphyllia")]);
    assert!(
        genera.contains(&slug("euphyllia"))
            && genera.contains(&slug("lobophyllia"))
            && !genera.contains(&slug("catalaphyllia"))
    );
    assert_eq!(slug("lps").fallback(), []);
    for taxon in catalogue().taxa() {
        for step in taxon.slug.fallback() {
            if let Fallback::GroupWithout { without, genera, .. } = step {
                assert!(genera.len() > 1 && genera.iter().all(|genus| !without.contains(genus)));
            }
        }
    }
}

#[test]
fn look_alikes_look_both_ways() {
    for taxon in catalogue().taxa() {
        for other in &taxon.look_alikes {
            assert_ne!(*other, taxon.slug);
            assert!(other.get().look_alikes.contains(&taxon.slug), "{} and {other}", taxon.slug);
        }
    }
    assert!(slug("goniopora").get().look_alikes.contains(&slug("alveopora")));
    assert!(slug("alveopora").look_alike_genera().contains(&slug("goniopora")));
}

#[test]
fn traits_come_from_the_genus_unless_said() {
    assert_eq!(slug("homophyllia-bowerbanki").get().sting, Sting::Medium);
    assert_eq!(slug("homophyllia-australis").get().sting, Sting::Weak);
    assert!(slug("galaxea-fascicularis").get().fleshy && !slug("acropora").get().fleshy);
    assert!(slug("palythoa").get().toxin);
    for taxon in catalogue().taxa() {
        assert!(catalogue().groups().iter().any(|group| group.code == taxon.group && group.slug == taxon.group_slug));
        if taxon.rank == Rank::Species {
            let genus = taxon.genus.expect("a species has a genus").get();
            assert_eq!((genus.rank, genus.group), (Rank::Genus, taxon.group));
            assert!(taxon.name.starts_with(genus.name));
        }
    }
}
