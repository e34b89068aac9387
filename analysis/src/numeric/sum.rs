//! Sums that keep their digits when many values or values of unlike size are added.

/// A running compensated sum (Neumaier 1974, ZAMM 54: 39–51): the lost low-order digits are carried along.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Sum {
    total: f64,
    carried: f64,
}

impl Sum {
    /// Adds one value.
    pub fn add(&mut self, value: f64) {
        let total = self.total + value;
        self.carried +=
            if self.total.abs() >= value.abs() { (self.total - total) + value } else { (value - total) + self.total };
        self.total = total;
    }

    /// The sum so far.
    pub fn value(&self) -> f64 {
        self.total + self.carried
    }
}

/// The compensated sum of the values, in their order.
pub fn neumaier(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut sum = Sum::default();
    for value in values {
        sum.add(value);
    }
    sum.value()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_terms_survive_between_large_ones() {
        assert_eq!(neumaier([1.0, 1e100, 1.0, -1e100]), 2.0);
    }
}
