//! The reports as a text.

use std::fmt::{self, Display, Formatter};

use super::coverage::holds;
use super::lifetime::Way;
use super::{Share, Study};

/// "94.1 % ± 0.7", or a dash without clubs.
fn percent(share: &Share) -> String {
    match (share.share, share.error) {
        (Some(share), Some(error)) => format!("{:.1} % ± {:.1}", 100.0 * share, 100.0 * error),
        _ => "–".to_owned(),
    }
}

fn ratio(value: Option<f64>) -> String {
    value.map_or_else(|| "–".to_owned(), |value| format!("{value:.2}"))
}

impl Display for Study {
    fn fmt(&self, out: &mut Formatter) -> fmt::Result {
        writeln!(out, "{} clubs a figure, seed {}; ± is the Monte-Carlo standard error", self.clubs, self.seed)?;
        let coverage = &self.coverage;
        writeln!(
            out,
            "\nCoverage of 95 % limits, against the estimator's own value in a club of {} tanks\n\
             (hazard ratio put in {}; crude {}, within keeper {})",
            coverage.large_tanks,
            coverage.hazard_ratio,
            ratio(coverage.large_crude),
            ratio(coverage.large_within_keeper)
        )?;
        writeln!(
            out,
            "| {:<16} | {:>8} | {:>7} | {:>8} | {:>15} | {:>15} |",
            "model", "clusters", "refused", "bias(ln)", "sandwich", "jackknife"
        )?;
        writeln!(out, "|{}|", ["-"; 6].map(|dash| dash.repeat(3)).join("|"))?;
        for line in &coverage.lines {
            let marked = |share: &Share| {
                let low = share.clubs > 0 && !holds(share);
                format!("{}{}", percent(share), if low { " *" } else { "" })
            };
            writeln!(
                out,
                "| {:<16} | {:>8} | {:>7} | {:>8} | {:>15} | {:>15} |",
                line.model.words(),
                line.clusters,
                line.refused,
                ratio(line.bias),
                marked(&line.sandwich),
                marked(&line.jackknife)
            )?;
        }
        writeln!(out, "* below 93 % less two Monte-Carlo errors")?;
        writeln!(out, "\nClubs in which no condition acts, with any of eight called at q <= 0.05")?;
        for calls in &self.calls {
            writeln!(
                out,
                "r = {}: within keeper {}; crude {} (never called); single tests at 5 %: within keeper {}, crude {} \
                 (hazard ratio {})",
                calls.correlation,
                percent(&calls.within_keeper),
                percent(&calls.crude),
                percent(&calls.single_within_keeper),
                percent(&calls.single_crude),
                ratio(calls.crude_ratio)
            )?;
        }
        let ranked = &self.ranked;
        writeln!(
            out,
            "\nThe acting condition ranked first of eight: crude {} (all known, by the same model {}, without the lag {}); \
             within keeper {} (all known {}, without the lag {})",
            percent(&ranked.crude),
            percent(&ranked.crude_oracle),
            percent(&ranked.crude_oracle_lag_0),
            percent(&ranked.within_keeper),
            percent(&ranked.within_keeper_oracle),
            percent(&ranked.within_keeper_oracle_lag_0)
        )?;
        let ranges = &self.ranges;
        writeln!(
            out,
            "\nRanges with fewest losses: shown where nothing acts in {}; where one acts in {}, of these inside the band \
             {}, stability {}, covering half of another club's {}",
            percent(&ranges.shown_in_vain),
            percent(&ranges.shown),
            percent(&ranges.inside),
            ratio(ranges.stability),
            percent(&ranges.agree)
        )?;
        let way = |way: &Way| format!("hazard ratio {}, p <= 0.05 in {}", ratio(way.ratio), percent(&way.significant));
        let lifetime = &self.lifetime;
        writeln!(out, "\nNo condition acts and all tanks drift into the band, counted")?;
        writeln!(out, "by the state at each moment: {}", way(&lifetime.at_the_moment))?;
        writeln!(out, "by \"mostly out of the band over its life\" (wrong): {}", way(&lifetime.mostly_out))?;
        writeln!(out, "by the share of its life out of the band (wrong): {}", way(&lifetime.lifetime_share))?;
        let sightings = &self.sightings;
        writeln!(
            out,
            "\nShare alive after a year: truly {}; a look a month {}; a register true on the last day {}; the same with \
             nobody saying when it was true {}",
            ratio(sightings.truth),
            ratio(sightings.looks),
            ratio(sightings.register),
            ratio(sightings.register_left_out)
        )?;
        writeln!(out)?;
        for verdict in &self.verdicts {
            writeln!(out, "{} {}", if verdict.holds { "holds: " } else { "MISSED:" }, verdict.what)?;
        }
        Ok(())
    }
}
