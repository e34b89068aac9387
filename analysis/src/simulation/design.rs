//! The taxa, ratios and sizes of a simulated club. The figures are invented; only their order of magnitude is
//! what keepers tell each other (common practice, no source).

use crate::vocabulary::TaxonSlug;

/// What a club is drawn from.
#[derive(Debug, Clone)]
pub struct Design {
    /// Seed of every draw.
    pub seed: u64,
    /// Members.
    pub keepers: usize,
    /// Share of members with a second tank.
    pub second_tank: f64,
    /// Calendar year of the first day.
    pub first_year: i32,
    /// Length of the records in days.
    pub days: i32,
    /// Variance of the tanks' gamma frailty.
    pub frailty_variance: f64,
    /// Taxa.
    pub taxa: Vec<TaxonDesign>,
    /// Incidents, one tank each.
    pub incidents: Vec<Incident>,
}

/// Something that kills part of a tank in one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Incident {
    /// Day.
    pub day: i32,
    /// Share of the living that dies that day.
    pub share: f64,
}

/// How one taxon lives and dies.
#[derive(Debug, Clone)]
pub struct TaxonDesign {
    /// The taxon.
    pub taxon: TaxonSlug,
    /// How many the club buys.
    pub specimens: usize,
    /// Deaths per coral-year when settled, in good water.
    pub yearly_hazard: f64,
    /// Factor on the hazard in the first 30 days.
    pub arrival: f64,
    /// Taught nitrate band in mg/L, closed.
    pub nitrate_band: (f64, f64),
    /// Hazard ratio of nitrate outside the band.
    pub nitrate_ratio: f64,
    /// Hazard ratio of wild against captive stock.
    pub wild_ratio: f64,
    /// Hazard ratio of fed (at least once a week) against unfed.
    pub fed_ratio: f64,
    /// Share collected in the sea.
    pub wild_share: f64,
    /// Share given away or sold a year.
    pub leaving_per_year: f64,
    /// Growth of the logarithm of size per month, in good water.
    pub growth_per_month: f64,
    /// Size when bought, in mm.
    pub bought_mm: f64,
}

impl TaxonDesign {
    /// Hazard per day at an age in days, apart from the tank's frailty and incidents.
    pub fn daily_hazard(&self, age: i32, nitrate: f64, wild: bool, feeds_per_week: f64) -> f64 {
        let arrival = if age < 30 { self.arrival } else { 1.0 };
        let water = if self.in_band(nitrate) { 1.0 } else { self.nitrate_ratio };
        let origin = if wild { self.wild_ratio } else { 1.0 };
        let fed = if feeds_per_week >= 1.0 { self.fed_ratio } else { 1.0 };
        self.yearly_hazard / 365.25 * arrival * water * origin * fed
    }

    /// Nitrate inside the taught band.
    pub fn in_band(&self, nitrate: f64) -> bool {
        nitrate >= self.nitrate_band.0 && nitrate <= self.nitrate_band.1
    }
}

impl Design {
    /// The demo club: forty members, three years, ten taxa of which two stay unanswerable.
    pub fn demo() -> Self {
        let plan = |slug: &str, specimens, yearly_hazard, arrival, band, nitrate_ratio, growth_per_month| {
            TaxonSlug::parse(slug).map(|taxon| TaxonDesign {
                taxon,
                specimens,
                yearly_hazard,
                arrival,
                nitrate_band: band,
                nitrate_ratio,
                wild_ratio: 1.5,
                fed_ratio: 0.8,
                wild_share: 0.4,
                leaving_per_year: 0.06,
                growth_per_month,
                bought_mm: 45.0,
            })
        };
        let taxa = [
            plan("goniopora", 120, 0.38, 2.0, (5.0, 15.0), 2.2, 0.020),
            plan("alveopora", 70, 0.26, 1.6, (5.0, 15.0), 1.7, 0.022),
            plan("acropora-millepora", 90, 0.22, 2.2, (1.0, 10.0), 1.8, 0.060),
            plan("montipora-digitata", 80, 0.10, 1.5, (1.0, 10.0), 1.3, 0.070),
            plan("seriatopora-hystrix", 60, 0.22, 1.8, (1.0, 10.0), 1.6, 0.055),
            plan("euphyllia-glabrescens", 90, 0.14, 1.5, (5.0, 20.0), 1.5, 0.035),
            plan("fimbriaphyllia-ancora", 70, 0.13, 1.5, (5.0, 20.0), 1.4, 0.030),
            plan("catalaphyllia-jardinei", 50, 0.34, 2.2, (5.0, 20.0), 1.9, 0.018),
            // Too few to answer, as in every real club.
            plan("plerogyra-sinuosa", 7, 0.20, 1.5, (5.0, 20.0), 1.5, 0.020),
            plan("heliofungia-actiniformis", 4, 0.45, 2.0, (5.0, 20.0), 1.5, 0.010),
        ];
        Design {
            seed: 20_230_701,
            keepers: 40,
            second_tank: 0.35,
            first_year: 2023,
            days: 1096,
            frailty_variance: 0.25,
            taxa: taxa.into_iter().flatten().collect(),
            incidents: vec![Incident { day: 310, share: 0.5 }, Incident { day: 742, share: 0.4 }],
        }
    }
}
