//! The one text of a question: equal questions have equal texts, so that it can stand in a cache key.

use super::question::{GrowthQuestion, Question};

fn edges(edges: Option<&[f64]>) -> String {
    edges.map(|edges| edges.iter().map(f64::to_string).collect::<Vec<_>>().join(",")).unwrap_or_default()
}

fn year(since: Option<i32>) -> String {
    since.map(|year| year.to_string()).unwrap_or_default()
}

impl Question {
    /// The question as one text, parts in a fixed order, absent parts empty.
    pub fn canonical(&self) -> String {
        format!(
            "survival?taxon={}&outcome={}&by={}&edges={}&given={}&horizon_days={}&since={}",
            self.taxon,
            self.outcome.as_str(),
            self.by.as_str(),
            edges(self.edges.as_deref()),
            self.given.map_or("", |given| given.as_str()),
            self.horizon_days,
            year(self.since),
        )
    }
}

impl GrowthQuestion {
    /// The question as one text, parts in a fixed order, absent parts empty.
    pub fn canonical(&self) -> String {
        format!(
            "growth?taxon={}&by={}&edges={}&since={}",
            self.taxon,
            self.by.as_str(),
            edges(self.edges.as_deref()),
            year(self.since),
        )
    }
}
