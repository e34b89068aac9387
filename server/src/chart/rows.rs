//! Estimates with their limits, one a row, over one axis: what does not fit on the axis ends in an arrow, what cannot be
//! told is a sentence in its row.

use super::canvas::{At, Canvas, INK, PAPER, RULE, STROKES, Set, WORDS};
use super::letters;
use super::sheet::Room;

/// An estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// A row.
#[derive(Debug, Clone, Default)]
pub struct Row {
    /// What it is of; a heading stands alone.
    pub label: String,
    /// A heading over the rows that follow it.
    pub is_heading: bool,
    /// The estimate; `None` = it cannot be told.
    pub estimate: Option<Estimate>,
    /// The figures in words, or why there are none.
    pub figures: String,
    /// Shape and colour of the mark.
    pub kind: usize,
}

/// The axis of the rows.
pub struct Axis {
    /// Equal ratios are equally far apart.
    pub is_log: bool,
    /// What stands under it.
    pub title: String,
    /// What stands over the figures.
    pub figures: String,
    /// Words at the two ends, beside the value that means no difference.
    pub ends: Option<(String, String)>,
    /// The value that a rule is drawn at.
    pub reference: Option<f64>,
}

/// Marks of an axis, between its ends.
#[derive(Debug, Clone, PartialEq)]
struct Scale {
    from: f64,
    to: f64,
    ticks: Vec<f64>,
    is_log: bool,
}

impl Scale {
    /// An axis that holds every estimate, and limits as far as they do not make it useless.
    fn of(rows: &[Row], axis: &Axis) -> Self {
        let estimates: Vec<Estimate> = rows.iter().filter_map(|row| row.estimate).collect();
        let most = |values: Vec<f64>, least: f64| values.into_iter().filter(|x| x.is_finite()).fold(least, f64::max);
        if axis.is_log {
            const STEPS: [f64; 19] = [
                0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0,
                500.0, 1000.0,
            ];
            let far = |of: fn(&Estimate) -> Option<f64>, sign: f64| {
                let own = most(
                    estimates.iter().filter(|e| e.value > 0.0).map(|e| sign * e.value.ln()).collect(),
                    0.5_f64.ln().abs(),
                );
                let limits =
                    most(estimates.iter().filter_map(of).filter(|x| *x > 0.0).map(|x| sign * x.ln()).collect(), 0.0);
                // Limits beyond a tenth or the tenfold end in arrows.
                own.max(limits.min(10.0_f64.ln()))
            };
            let (from, to) = ((-far(|e| e.lower, -1.0)).exp(), far(|e| e.upper, 1.0).exp());
            let from = STEPS.into_iter().rev().find(|step| *step <= from * 1.001).unwrap_or(STEPS[0]);
            let to = STEPS.into_iter().find(|step| *step >= to * 0.999).unwrap_or(STEPS[18]);
            let ticks = STEPS.into_iter().filter(|step| (from..=to).contains(step)).collect();
            return Scale { from, to, ticks, is_log: true };
        }
        let own = most(estimates.iter().map(|e| e.value).collect(), 0.0);
        let limits = most(estimates.iter().filter_map(|e| e.upper).collect(), 0.0);
        // Limits of three times the largest figure and more end in arrows; of no losses at all they are all there is.
        let to = if own > 0.0 { own.max(limits.min(3.0 * own)) } else { limits.max(1.0) };
        let rough = to / 5.0;
        let power = 10_f64.powf(rough.log10().floor());
        let step =
            [1.0, 2.0, 2.5, 5.0, 10.0].into_iter().map(|n| n * power).find(|step| *step >= rough).unwrap_or(rough);
        let count = (to / step - 1e-9).ceil().max(1.0);
        let ticks = (0..=count as u32).map(|n| f64::from(n) * step).collect();
        Scale { from: 0.0, to: count * step, ticks, is_log: false }
    }

    /// The place of a value as a share of the axis: below 0 or above 1 if it is beyond.
    fn place(&self, value: f64) -> f64 {
        if self.is_log {
            (value.max(1e-12).ln() - self.from.ln()) / (self.to.ln() - self.from.ln())
        } else {
            (value - self.from) / (self.to - self.from)
        }
    }
}

/// Whether any limit is drawn with an arrow.
pub fn has_arrows(rows: &[Row], axis: &Axis) -> bool {
    let scale = Scale::of(rows, axis);
    let beyond = |limit: Option<f64>| limit.is_some_and(|x| !(-1e-9..=1.0 + 1e-9).contains(&scale.place(x)));
    rows.iter().filter_map(|row| row.estimate).any(|of| beyond(of.lower) || beyond(of.upper))
}

/// Draws the rows; of those that do not fit in the room's height the last are left out, and a line says how many.
pub fn draw(canvas: &mut Canvas, room: &Room, rows: &[Row], axis: &Axis) -> f64 {
    let words = Set { size: room.letters, bold: false, ink: WORDS, at: At::Start };
    let small = Set { size: room.letters - 1.0, ..words };
    let step = room.letters * 1.25;
    let figure_room = room.width * 0.34;
    let figures = widest(rows.iter().filter(|row| row.estimate.is_some()).map(|row| row.figures.as_str()), small)
        .max(letters::width(&axis.figures, small.size, false))
        .min(figure_room);
    let label_room =
        widest(rows.iter().filter(|row| !row.is_heading).map(|row| row.label.as_str()), words).min(room.width * 0.32);
    let (left, right) = (room.left + label_room + 14.0, room.left + room.width - figures - 14.0);
    let scale = Scale::of(rows, axis);
    let x = |value: f64| left + (right - left) * scale.place(value);

    // What each row needs, then as many as fit.
    let label = |row: &Row| {
        let (set, room) = if row.is_heading { (Set { bold: true, ..words }, room.width) } else { (words, label_room) };
        letters::lines(&row.label, set.size, set.bold, room)
    };
    let said = |row: &Row| {
        let wide = if row.estimate.is_some() { figures } else { room.left + room.width - left };
        letters::lines(&row.figures, small.size, false, wide)
    };
    let needs: Vec<f64> =
        rows.iter().map(|row| label(row).len().max(said(row).len()).max(1) as f64 * step + 5.0).collect();
    let around = 12.0 + 34.0 + if axis.ends.is_some() { 28.0 } else { 0.0 };
    let mut shown = rows.len();
    if let Some(height) = room.height {
        while shown > 1 && around + step + needs[..shown].iter().sum::<f64>() > height {
            shown -= 1;
        }
        // A heading without rows says nothing.
        while shown > 1 && rows[shown - 1].is_heading {
            shown -= 1;
        }
    }
    let top = room.top + 12.0;
    canvas.text(room.left + room.width, top - 2.0, Set { at: At::End, ink: INK, ..small }, &axis.figures);
    let height: f64 = needs[..shown].iter().sum();
    let bottom = top + 4.0 + height;
    for tick in &scale.ticks {
        canvas.rule((x(*tick), top + 4.0), (x(*tick), bottom), RULE, 0.5);
        canvas.rule((x(*tick), bottom), (x(*tick), bottom + 4.0), INK, 0.8);
        canvas.text(x(*tick), bottom + 16.0, Set { at: At::Middle, ink: INK, ..words }, &tick_text(*tick));
    }
    canvas.rule((left, bottom), (right, bottom), INK, 0.8);
    if let Some(reference) = axis.reference.filter(|value| (0.0..=1.0).contains(&scale.place(*value))) {
        canvas.line(&[(x(reference), top + 2.0), (x(reference), bottom)], 0, 1.1);
    }
    let mut y = top + 4.0;
    for (row, need) in rows.iter().zip(&needs).take(shown) {
        let foot = y + step - 2.0;
        let set = if row.is_heading { Set { bold: true, ink: INK, ..words } } else { words };
        if row.estimate.is_none() {
            // The rules of the axis stay clear of words.
            let (low, high) = (y + 1.0, y + need - 2.0);
            canvas.shape(&[(left - 4.0, low), (right + 1.0, low), (right + 1.0, high), (left - 4.0, high)], PAPER);
        }
        for (n, line) in label(row).iter().enumerate() {
            canvas.text(room.left, foot + n as f64 * step, set, line);
        }
        if let Some(estimate) = row.estimate {
            whisker(canvas, estimate, row.kind, foot - room.letters * 0.32, (left, right), &x);
            for (n, line) in said(row).iter().enumerate() {
                let at = (room.left + room.width, foot + n as f64 * step);
                canvas.text(at.0, at.1, Set { at: At::End, ink: INK, ..small }, line);
            }
        } else if !row.is_heading {
            for (n, line) in said(row).iter().enumerate() {
                canvas.text(left, foot + n as f64 * step, small, line);
            }
        }
        y += need;
    }
    let mut end = bottom + 30.0;
    canvas.text((left + right) / 2.0, end, Set { at: At::Middle, ..words }, &axis.title);
    if let Some((lower, upper)) = &axis.ends {
        end += 14.0;
        canvas.text(left, end, small, lower);
        // One below the other where the axis is short.
        if letters::width(lower, small.size, false) + letters::width(upper, small.size, false) + 8.0 > right - left {
            end += 14.0;
        }
        canvas.text(right, end, Set { at: At::End, ..small }, upper);
    }
    if shown < rows.len() {
        let left_out = rows[shown..].iter().filter(|row| !row.is_heading).count();
        end += step;
        canvas.text(
            room.left,
            end,
            small,
            &format!("Rows left out for want of room: {left_out}; all are in the answer."),
        );
    }
    end + 2.0
}

fn widest<'t>(texts: impl Iterator<Item = &'t str>, set: Set) -> f64 {
    texts.map(|text| letters::width(text, set.size, set.bold)).fold(0.0, f64::max)
}

/// The estimate's mark and the line between its limits.
fn whisker(canvas: &mut Canvas, of: Estimate, kind: usize, y: f64, (left, right): (f64, f64), x: &impl Fn(f64) -> f64) {
    let ink = STROKES[kind % STROKES.len()].1;
    if let Some((lower, upper)) = of.lower.zip(of.upper) {
        let (from, to) = (x(lower), x(upper));
        canvas.rule((from.max(left), y), (to.min(right), y), ink, 1.4);
        for (at, is_beyond, sign) in [(from, from < left - 0.5, -1.0), (to, to > right + 0.5, 1.0)] {
            if is_beyond {
                let tip = if sign < 0.0 { left - 5.0 } else { right + 5.0 };
                canvas.shape(&[(tip, y), (tip - 6.0 * sign, y - 3.5), (tip - 6.0 * sign, y + 3.5)], ink);
            } else {
                canvas.rule((at, y - 3.0), (at, y + 3.0), ink, 1.2);
            }
        }
    }
    canvas.mark(x(of.value).clamp(left, right), y, kind, 3.0, ink);
}

fn tick_text(tick: f64) -> String {
    let text = format!("{tick:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(value: f64, lower: f64, upper: f64) -> Row {
        Row { estimate: Some(Estimate { value, lower: Some(lower), upper: Some(upper) }), ..Row::default() }
    }

    fn axis(is_log: bool) -> Axis {
        Axis { is_log, title: String::new(), figures: String::new(), ends: None, reference: None }
    }

    #[test]
    fn an_axis_holds_every_figure_and_no_limit_makes_it_useless() {
        let scale = Scale::of(&[row(1.3, 0.7, 2.1), row(0.4, 0.001, 900.0)], &axis(true));
        assert_eq!((scale.from, scale.to), (0.1, 10.0));
        assert!(has_arrows(&[row(0.4, 0.001, 900.0)], &axis(true)) && !has_arrows(&[row(1.3, 0.7, 2.1)], &axis(true)));
        let scale = Scale::of(&[row(4.9, 2.3, 9.0)], &axis(false));
        assert_eq!((scale.from, scale.to), (0.0, 10.0));
        assert!(scale.place(9.0) < 1.0);
        // No loss at all: the upper limit is what there is to show.
        let none = Scale::of(&[row(0.0, 0.0, 3.7)], &axis(false));
        assert!(none.place(3.7) <= 1.0 && none.place(3.7) > 0.5, "{none:?}");
        assert_eq!(Scale::of(&[], &axis(true)).ticks, [0.5, 1.0, 2.0]);
    }
}
