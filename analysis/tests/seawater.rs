//! Seawater against published check values and two independent computations.
//!
//! "computed" = the same value from two independent packages and a computation of our own agreed to the digits given.

use analysis::seawater::*;

fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() <= tolerance * want.abs().max(1e-8), "{what}: got {got:.12}, want {want:.12}");
}

/// UNESCO Technical Papers in Marine Science 44 (1983), p. 9, as quoted in a package's example; last digits computed.
#[test]
fn practical_salinity_scale_1978() {
    for (ratio, t68, p, printed, digits, computed) in [
        (1.0, 15.0, 0.0, 34.99999992, 5e-9, 34.9999999241),
        (1.2, 20.0, 2000.0, 37.24562765, 5e-9, 37.2456276459),
        (0.65, 5.0, 1500.0, 27.99534693, 5e-9, 27.9953469301),
        (1.888091, 40.0, 10000.0, 40.00000, 5e-6, 39.9999962192),
    ] {
        let got = salinity_from_ratio(ratio, t68, p);
        assert!((got - printed).abs() <= digits, "R {ratio}: {got} against {printed} as printed");
        assert!((got - computed).abs() <= 5.1e-11, "R {ratio}: {got} against {computed}");
    }
    // By definition of the scale.
    assert!((salinity_from_ratio(1.0, 15.0, 0.0) - 35.0).abs() < 1e-7);
}

/// Computed by the TEOS-10 toolbox; the last is printed in its documentation.
#[test]
fn practical_salinity_of_conductivity() {
    for (c, t, p, want) in [
        (53.0, 25.0, 0.0, 34.9472992726),
        (50.0, 25.0, 0.0, 32.7331671117),
        (48.0, 25.0, 0.0, 31.2697645103),
        (47.9, 20.0, 0.0, 34.9852099663),
        (34.5487, 28.7856, 10.0, 20.00986959908695),
    ] {
        let got = salinity_from_conductivity(c, t, p);
        assert!((got - want).abs() <= 5.1e-11, "{c} mS/cm at {t}: {got} against {want}");
    }
    assert!((conductivity_from_salinity(35.0, 25.0) - 53.0710320487).abs() <= 5.1e-11);
    assert!((conductivity_from_salinity(35.0, 20.0) - 47.9180440285).abs() <= 5.1e-11);
    for s in [0.5, 1.9, 2.0, 2.1, 10.0, 20.0, 33.0, 35.0, 42.0] {
        for t in [0.0, 10.0, 25.0, 30.0] {
            close(salinity_from_conductivity(conductivity_from_salinity(s, t), t, 0.0), s, 1e-12, "there and back");
        }
    }
    assert!(salinity_from_conductivity(-1.0, 25.0, 0.0).is_nan());
}

/// UNESCO Technical Papers in Marine Science 44 (1983): rows printed there quoted in a package's example (p. 22),
/// rows of UNESCO (1981) from memory, last digits computed.
#[test]
fn equation_of_state_1980() {
    for (s, t68, p, printed, computed) in [
        (0.0, 5.0, 0.0, 999.96675, 999.9667507867),
        (0.0, 25.0, 0.0, 997.04796, 997.0479575078),
        (35.0, 5.0, 0.0, 1027.67547, 1027.6754652783),
        (35.0, 25.0, 0.0, 1023.34306, 1023.3430584772),
        (0.0, 0.0, 0.0, 999.842594, 999.842594),
        (35.0, 0.0, 0.0, 1028.10633141, 1028.1063314148),
        (0.0, 30.0, 0.0, 995.65113374, 995.65113374),
        (35.0, 30.0, 0.0, 1021.72863949, 1021.7286394941),
        (35.0, 5.0, 10000.0, 1069.48914, 1069.48913798),
        (35.0, 25.0, 10000.0, 1062.53817, 1062.53817176),
    ] {
        let got = density_t68(s, t68, p);
        assert!((got - printed).abs() <= 5.1e-6, "ρ({s}, {t68}, {p}): {got} against {printed} as printed");
        assert!((got - computed).abs() <= 5.1e-9, "ρ({s}, {t68}, {p}): {got} against {computed}");
    }
}

/// EOS-80, temperatures of the instrument on ITS-90; computed.
#[test]
fn specific_gravity_under_five_references() {
    let table = [
        (1.0200, [26.5734678574, 26.3388071413, 26.0833571979, 26.0480226076, 28.7139464734]),
        (1.0230, [30.5449768517, 30.2778344665, 29.9874959993, 29.9473521797, 32.6554431506]),
        (1.0250, [33.1881061143, 32.8996689723, 32.5865092688, 32.5432214646, 35.2786695508]),
        (1.0260, [34.5082302333, 34.2092517774, 33.8848099748, 33.8399684111, 36.5888814616]),
        (1.0264, [35.0360037272, 34.7328283557, 34.4038974201, 34.3584377142, 37.1126980584]),
        (1.0280, [37.1454862386, 36.8256343314, 36.4788809495, 36.4309676799, 39.2064015235]),
    ];
    let at_35 = [1.0263727089, 1.0266041565, 1.0268594752, 1.0268951090, 1.0247874027];
    for (column, reference) in SgReference::ALL.into_iter().enumerate() {
        for (sg, row) in table {
            let got = salinity_from_gravity(sg, reference);
            assert!(
                (got - row[column]).abs() <= 5.1e-11,
                "SG {sg} at {}: {got} against {}",
                reference.as_str(),
                row[column]
            );
            assert!((gravity(got, reference) - sg).abs() <= 1e-15 * 4.0);
        }
        assert!((gravity(35.0, reference) - at_35[column]).abs() <= 5.1e-11);
        assert_eq!(SgReference::parse(reference.as_str()), Some(reference));
    }
    assert_eq!(SgReference::parse("4/4"), None);
    let (low, high) = gravity_interval(1.025);
    assert!((high - low - 0.65).abs() < 0.01, "a gravity without its reference is 0.65 wide: {low} to {high}");
    assert!(salinity_from_gravity(f64::NAN, SgReference::At25Over25).is_nan());
    // A hydrometer in water at its own temperature needs no correction; warmer water makes it read low.
    let same = salinity_from_gravity_at(1.025, SgReference::At20Over20, 20.0);
    assert_eq!(same, salinity_from_gravity(1.025, SgReference::At20Over20));
    assert!(salinity_from_gravity_at(1.025, SgReference::At20Over20, 25.0) > same);
}

/// Clegg & Whitfield (1995) on the total scale; computed by a carbonate-system package.
#[test]
fn un_ionised_ammonia() {
    for (t, pka, at) in [
        (20.0, 9.4188105133, [0.0234891108, 0.0367232057, 0.0569785086, 0.0873923819]),
        (25.0, 9.2458470950, [0.0345833984, 0.0537242798, 0.0825531796, 0.1248114760]),
        (25.5, 9.2287592823, [0.0359213925, 0.0557600420, 0.0855825501, 0.1291732221]),
        (26.0, 9.2117075690, [0.0373061662, 0.0578636960, 0.0887056176, 0.1336544918]),
    ] {
        assert!((ammonia_pka(35.0, t) - pka).abs() <= 5.1e-11, "pKa at {t}: {}", ammonia_pka(35.0, t));
        for (ph, want) in [7.8, 8.0, 8.2, 8.4].into_iter().zip(at) {
            let got = un_ionised_fraction(ph, 35.0, t);
            assert!((got - want).abs() <= 5.1e-11, "NH3 share at {t} °C, pH {ph}: {got}");
        }
    }
    assert!((total_scale_from_nbs(8.187) - 8.05).abs() < 1e-12);
}

/// Garcia & Gordon (1992): 274.610 µmol/kg is their check value (quoted in public code); last digits computed.
#[test]
fn oxygen_at_saturation() {
    assert!((oxygen_saturation_umol_kg(35.0, 10.0) - 274.610).abs() <= 5e-4);
    for (s, t, umol_kg, mg_l) in [
        (35.0, 10.0, 274.6098319424, 9.0237916982),
        (35.0, 25.0, 206.7875242160, 6.7712311838),
        (35.0, 25.5, 205.0729218046, 6.7140828547),
        (0.0, 20.0, 284.6521582689, 9.0919533598),
    ] {
        assert!((oxygen_saturation_umol_kg(s, t) - umol_kg).abs() <= 5.1e-11, "{}", oxygen_saturation_umol_kg(s, t));
        assert!((oxygen_saturation_mg_l(s, t) - mg_l).abs() <= 5.1e-11, "{}", oxygen_saturation_mg_l(s, t));
    }
}

/// Jokiel, Maragos & Franzisket (1978), aragonite in seawater of S 35 at 25 °C; plain arithmetic.
#[test]
fn dry_mass_of_a_skeleton() {
    let factor = dry_mass_factor(1.0233412, skeleton::ARAGONITE).expect("aragonite sinks");
    assert!((factor - 1.5339193392).abs() <= 5.1e-11);
    assert_eq!(dry_mass_factor(1.0233, 1.0), None);
    assert_eq!(dry_mass_factor(f64::NAN, 2.94), None);
}

/// The reference file: practical salinity, density and conductivity by the TEOS-10 toolbox, at its own tolerance.
#[test]
fn the_reference_file_at_its_own_tolerance() {
    let text = include_str!("reference/salinity_sg_conductivity.json");
    let file: serde_json::Value = serde_json::from_str(text).expect("the reference file is JSON");
    let tolerance = file["rel_tolerance"].as_f64().expect("a tolerance");
    let rows = file["expected"]["rows"].as_array().expect("rows");
    assert!(rows.len() >= 16);
    let mut worst: f64 = 0.0;
    for row in rows {
        let number = |key: &str| row[key].as_f64().unwrap_or_else(|| panic!("no {key}"));
        let (s, t) = (number("SP"), number("t"));
        for (what, got, want) in [
            ("density", density_teos10(s, t), number("density_kg_m3")),
            ("gravity", density_teos10(s, t) / density_teos10(0.0, t), number("sg_same_temperature")),
            ("conductivity", conductivity_from_salinity(s, t), number("conductivity_mS_cm")),
        ] {
            close(got, want, tolerance, &format!("{what} of {s} at {t}"));
            worst = worst.max((got - want).abs() / want.abs());
        }
        close(density(s, t), number("density_kg_m3"), 5e-6, "EOS-80 beside TEOS-10");
        if s > 0.0 {
            let back = salinity_from_conductivity(number("conductivity_mS_cm"), t, 0.0);
            close(back, s, tolerance, "salinity of the conductivity");
        }
    }
    println!("salinity_sg_conductivity: worst relative error {worst:.1e}, allowed {tolerance:.0e}");
}

/// Gravities and salinities by TEOS-10 (exact density of the toolbox), within what the two equations differ by.
#[test]
fn the_two_equations_of_state_agree_to_a_few_millionths() {
    let teos_at_35 = [1.0263738474, 1.0266065559, 1.0268619821, 1.0268975609, 1.0247917499];
    let teos_at_1_025 = [33.1859198243, 32.8955656897, 32.5822840447, 32.5390903498, 35.2731402101];
    for ((reference, sg), s) in SgReference::ALL.into_iter().zip(teos_at_35).zip(teos_at_1_025) {
        close(gravity(35.0, reference), sg, 5e-6, reference.as_str());
        let (t1, t2) = reference.temperatures();
        close(density_teos10(35.0, t1) / density_teos10(0.0, t2), sg, 2e-6, reference.as_str());
        assert!((salinity_from_gravity(1.025, reference) - s).abs() < 6e-3, "{}", reference.as_str());
    }
    close(density_teos10(35.0, 25.0), 1023.3436313881, 6e-7, "exact density at S 35, 25 °C");
}
