//! Sums over rows of `r`, `r x`, `r x x'` and third moments, and the loops that fill them.

/// Sums of `r`, `r x`, `r x x'` and, if asked, third moments; `r` is a row's weight times `exp(x'b - c)`.
#[derive(Debug, Clone)]
pub(in crate::survival::cox) struct Moments {
    shape: Shape,
    /// `r`, then `r x`, then `r x_i x_j` at `i * p + j` for `j <= i`, then the third moments.
    sums: Vec<f64>,
}

/// Calls a loop that is unrolled for the number of covariates, up to first or second moments; another one for more.
macro_rules! unrolled {
    ($shape:expr, $f:ident $arguments:tt, $otherwise:block) => {
        unrolled!($shape, $f $arguments, $otherwise, 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24)
    };
    ($shape:expr, $f:ident $arguments:tt, $otherwise:block, $($p:literal)*) => {
        match ($shape.p, $shape.order) {
            $(($p, 1) => $f::<$p, 1> $arguments,)*
            $(($p, 2) => $f::<$p, 2> $arguments,)*
            _ => $otherwise,
        }
    };
}

/// How many covariates there are, and up to which moments they are summed (1 to 3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shape {
    pub(super) p: usize,
    pub(super) order: usize,
}

impl Shape {
    /// Length of a list of sums.
    pub(super) fn width(self) -> usize {
        (0..=self.order as u32).map(|power| self.p.pow(power)).sum()
    }

    /// Length of a cell of a table of sums: second moments take their lower triangle only, so that a cell is small.
    pub(super) fn cell(self) -> usize {
        if self.order == 2 { 1 + self.p + self.p * (self.p + 1) / 2 } else { self.width() }
    }

    /// Adds `r` times the moments of each place to its cell of `table`, if it has one; cells one after the other.
    pub(super) fn scatter(self, table: &mut [f64], cells: impl Iterator<Item = Option<usize>>, r: &[f64], x: &[f64]) {
        unrolled!(self, scatter(table, cells, r, x), {
            let width = self.cell();
            for ((cell, &r), x) in cells.zip(r).zip(x.chunks_exact(self.p)) {
                if let Some(cell) = cell {
                    let cell = &mut table[cell * width..(cell + 1) * width];
                    if self.order == 2 { add_packed::<2>(cell, r, x) } else { add(cell, r, x, self.order) }
                }
            }
        });
    }
}

impl Moments {
    pub(super) fn new(shape: Shape) -> Moments {
        Moments { shape, sums: vec![0.0; shape.width()] }
    }

    pub(super) fn clear(&mut self) {
        self.sums.fill(0.0);
    }

    /// Sum of `r`.
    pub(in crate::survival::cox) fn s0(&self) -> f64 {
        self.sums[0]
    }

    /// Sum of `r x`.
    pub(in crate::survival::cox) fn s1(&self) -> &[f64] {
        &self.sums[1..1 + self.shape.p]
    }

    /// Sum of `r x_i x_j` at `i * p + j`, for `j <= i`.
    pub(in crate::survival::cox) fn s2(&self) -> &[f64] {
        let p = self.shape.p;
        &self.sums[1 + p..1 + p + p * p]
    }

    /// Sum of `r x_i x_j x_k` at `(i * p + j) * p + k`, for `k <= j <= i`.
    pub(in crate::survival::cox) fn s3(&self) -> &[f64] {
        let p = self.shape.p;
        &self.sums[1 + p + p * p..]
    }

    /// Adds one row.
    pub(super) fn add(&mut self, r: f64, x: &[f64]) {
        add(&mut self.sums, r, x, self.shape.order);
    }

    /// Adds rows that stand one after the other.
    pub(super) fn add_all(&mut self, r: &[f64], x: &[f64]) {
        let sums = &mut self.sums;
        unrolled!(self.shape, add_all(sums, r, x), {
            for (&r, x) in r.iter().zip(x.chunks_exact(self.shape.p)) {
                add(sums, r, x, self.shape.order);
            }
        });
    }

    /// Takes away the sums of a cell of a table, which is empty then.
    pub(super) fn subtract(&mut self, cell: &mut [f64]) {
        self.less(cell);
        cell.fill(0.0);
    }

    fn less(&mut self, cell: &[f64]) {
        let p = self.shape.p;
        if self.shape.order != 2 {
            self.sums.iter_mut().zip(cell).for_each(|(own, other)| *own -= other);
            return;
        }
        let (low, mut packed) = cell.split_at(1 + p);
        self.sums.iter_mut().zip(low).for_each(|(own, other)| *own -= other);
        for i in 0..p {
            let (row, rest) = packed.split_at(i + 1);
            let own = &mut self.sums[1 + p + i * p..];
            own.iter_mut().zip(row).for_each(|(own, other)| *own -= other);
            packed = rest;
        }
    }

    /// `risk - share * dying`, into `self`.
    pub(super) fn difference(&mut self, risk: &Moments, share: f64, dying: &Moments) {
        for ((to, a), b) in self.sums.iter_mut().zip(&risk.sums).zip(&dying.sums) {
            *to = a - share * b;
        }
    }
}

/// Adds one row to a list of sums.
fn add(sums: &mut [f64], r: f64, x: &[f64], order: usize) {
    let p = x.len();
    sums[0] += r;
    let (first, rest) = sums[1..].split_at_mut(p);
    for (i, (xi, s1)) in x.iter().zip(first).enumerate() {
        let ri = r * xi;
        *s1 += ri;
        if order < 2 {
            continue;
        }
        for (sum, xj) in rest[i * p..=i * p + i].iter_mut().zip(x) {
            *sum += ri * xj;
        }
        if order < 3 {
            continue;
        }
        let third = &mut rest[p * p..];
        for (j, xj) in x[..=i].iter().enumerate() {
            let first = (i * p + j) * p;
            for (sum, xk) in third[first..=first + j].iter_mut().zip(x) {
                *sum += ri * xj * xk;
            }
        }
    }
}

/// Covariates from which whole rows of second moments are added, the half above the diagonal too: they are read by nobody,
/// and rows of one length are added several numbers at a time.
const WHOLE_ROWS: usize = 7;

/// [`add`] up to second moments, its loops unrolled for a number of covariates known beforehand.
#[inline(always)]
fn add_fixed<const P: usize, const ORDER: usize>(sums: &mut [f64], r: f64, x: &[f64; P]) {
    let sums = &mut sums[..if ORDER < 2 { 1 + P } else { 1 + P + P * P }];
    sums[0] += r;
    for i in 0..P {
        let ri = r * x[i];
        sums[1 + i] += ri;
        if ORDER < 2 {
            continue;
        }
        for j in 0..if P < WHOLE_ROWS { i + 1 } else { P } {
            sums[1 + P + i * P + j] += ri * x[j];
        }
    }
}

fn add_all<const P: usize, const ORDER: usize>(sums: &mut [f64], r: &[f64], x: &[f64]) {
    for (&r, x) in r.iter().zip(x.as_chunks::<P>().0) {
        add_fixed::<P, ORDER>(sums, r, x);
    }
}

/// [`add`] up to second moments, their lower triangle row by row without gaps.
#[inline(always)]
fn add_packed<const ORDER: usize>(cell: &mut [f64], r: f64, x: &[f64]) {
    let p = x.len();
    cell[0] += r;
    let mut at = 1 + p;
    for i in 0..p {
        let ri = r * x[i];
        cell[1 + i] += ri;
        if ORDER < 2 {
            continue;
        }
        for (sum, xj) in cell[at..=at + i].iter_mut().zip(x) {
            *sum += ri * xj;
        }
        at += i + 1;
    }
}

fn scatter<const P: usize, const ORDER: usize>(
    table: &mut [f64],
    cells: impl Iterator<Item = Option<usize>>,
    r: &[f64],
    x: &[f64],
) {
    let width = Shape { p: P, order: ORDER }.cell();
    for ((cell, &r), x) in cells.zip(r).zip(x.as_chunks::<P>().0) {
        if let Some(cell) = cell {
            add_packed::<ORDER>(&mut table[cell * width..(cell + 1) * width], r, x.as_slice());
        }
    }
}
