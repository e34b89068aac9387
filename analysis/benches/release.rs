//! What a release of a large club costs, stage by stage: 400 keepers and a million readings, every taxon on the list.
//!
//! `cargo bench -p analysis --profile dev --bench release [KEEPERS]`; prints seconds, the club's size and the peak of memory.

#[path = "../tests/support/random_club.rs"]
mod random_club;
#[path = "../tests/support/club_builder.rs"]
mod support;

use std::time::Instant;

use analysis::answer::{
    Audience, By, Called, Families, Held, Outcome, Piece, Question, RangesCalled, Records, TaxonQuestion, TaxonRecords,
    bands, census, claims, conditions, family, hazard, lead_up, listed, ranges, survival,
};
use analysis::club::{Club, Reading};
use analysis::follow_up::Population;
use analysis::numeric::parallel;
use analysis::vocabulary::TaxonSlug;
use random_club::{Size, random_club};
use support::stamp;

const TAXA: &[&str] = &[
    "goniopora",
    "alveopora",
    "acropora-millepora",
    "montipora-digitata",
    "euphyllia-glabrescens",
    "seriatopora-hystrix",
];
const READINGS: usize = 1_000_000;
const AUDIENCE: Audience = Audience::Member;

fn main() {
    let keepers = std::env::args().skip(1).find_map(|word| word.parse().ok()).unwrap_or(400);
    let club = club(keepers);
    println!(
        "{} keepers, {} tanks, {} specimens, {} readings",
        club.keepers.len(),
        club.tanks.len(),
        club.specimens.len(),
        club.readings.len()
    );
    let begun = Instant::now();
    let taxa = listed(&club);
    let of = |taxon| TaxonQuestion { taxon, outcome: Outcome::Death, since: None };
    let (mut called, mut declines, mut of_ranges) = (Called::default(), Called::default(), RangesCalled::default());
    stage("census", || drop(census(&club, AUDIENCE)));
    stage("survival, undivided and by nine splits", || {
        for &taxon in &taxa {
            for by in splits() {
                let question = Question { by, ..of(taxon).plain() };
                drop(survival(&club, &question, AUDIENCE, &stamp()));
            }
        }
    });
    stage("p of the whole list, q, ratios, growth", || called = family(&club, Outcome::Death, AUDIENCE));
    stage("the same for declines", || declines = family(&club, Outcome::FirstSeriousDecline, AUDIENCE));
    stage("tests of ranges, q", || of_ranges = ranges(&club, Outcome::Death, AUDIENCE));
    stage("conditions", || {
        for &taxon in &taxa {
            drop(conditions(&club, &of(taxon), AUDIENCE, &stamp(), Some(&called)));
        }
    });
    stage("bands with 500 draws of tanks", || {
        for &taxon in &taxa {
            drop(bands(&club, &of(taxon), AUDIENCE, &stamp(), Some(&called), Some(&of_ranges)));
        }
    });
    stage("hazard by age with 1000 draws", || {
        for &taxon in &taxa {
            drop(hazard(&club, &of(taxon), AUDIENCE, &stamp()));
        }
    });
    stage("lead-up with 1000 draws", || {
        for &taxon in &taxa {
            drop(lead_up(&club, &of(taxon), AUDIENCE, &stamp()));
        }
    });
    let held = |records: &Records, piece: &Piece| {
        let held = Held::of(records, piece, &|keeper| Some(keeper.to_string()));
        held.may_follow(&held.clone())
    };
    stage("who holds what by every split, and what may follow", || {
        for &taxon in &taxa {
            let records = Records::of(&club, &Population::of(&club, taxon, None));
            drop(parallel::map(&Piece::standing(), |piece| held(&records, piece)));
        }
    });
    stage("the same of the lines of conditions and lead-up", || {
        for &taxon in &taxa {
            let population = Population::of(&club, taxon, None);
            let records = Records::with_lines(&club, &population);
            drop(parallel::map(&Piece::lines(&club, &population), |piece| held(&records, piece)));
        }
    });
    stage("claims", || {
        let families = Families { death: Some(&called), decline: Some(&declines) };
        let of = |taxon: &TaxonSlug| TaxonRecords { taxon: *taxon, club: &club, families };
        drop(claims(&taxa.iter().map(of).collect::<Vec<_>>(), &[], AUDIENCE, &stamp()));
    });
    println!("{:>8.2} s  all, {} taxa, {} comparisons", begun.elapsed().as_secs_f64(), taxa.len(), called.comparisons);
    if let Some(peak) = peak() {
        println!("{peak} at the peak");
    }
}

fn stage(name: &str, run: impl FnOnce()) {
    let begun = Instant::now();
    run();
    println!("{:>8.2} s  {name}", begun.elapsed().as_secs_f64());
}

fn splits() -> Vec<By> {
    let words = [By::None, By::Origin, By::Year, By::TankAge, By::Feeding];
    let parameters = ["nitrate", "phosphate", "temperature", "salinity", "alkalinity"];
    words.into_iter().chain(parameters.map(|code| By::Parameter(support::parameter(code)))).collect()
}

/// A club of so many keepers, its tests repeated between one and the next until there are a million.
fn club(keepers: usize) -> Club {
    let mut club = random_club(17, &Size { keepers, corals_per_tank: 6, slugs: TAXA });
    let own = club.readings.to_vec();
    let mut all = own.clone();
    let wanted = READINGS * keepers / 400;
    let copies = (wanted / own.len().max(1)) as i64;
    let same_series = |a: &Reading, b: &Reading| (a.tank, a.parameter) == (b.tank, b.parameter);
    for copy in 1..=copies {
        for (at, reading) in own.iter().enumerate() {
            let next = own.get(at + 1).filter(|next| same_series(reading, next));
            let gap = next.map_or(0, |next| (next.on - reading.on).num_days());
            let later = gap * copy / (copies + 1);
            if later > 0 && all.len() < wanted {
                all.push(Reading { on: reading.on + chrono::TimeDelta::days(later), ..reading.clone() });
            }
        }
    }
    club.readings = all.into();
    club
}

fn peak() -> Option<String> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    status.lines().find_map(|line| line.strip_prefix("VmHWM:").map(|peak| peak.trim().to_owned()))
}
