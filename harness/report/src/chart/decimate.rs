//! Fewer points for the same picture: of every pixel column the first, lowest, highest and last point.
//!
//! That is the M4 aggregation (Jugel, Jerzak, Hackenbroich, Markl, Proc. VLDB Endowment 7(10), 2014, 797-808; from
//! memory), which draws the same line as all points would. A break in the data always stays a break.

/// Lines to be drawn: each is an unbroken stretch of points.
pub type Stretches = Vec<Vec<(f64, f64)>>;

/// Thins out points with rising x to `columns` columns between `from` and `to`; points outside are left out, points
/// without a finite value break the line.
pub fn decimate(points: impl IntoIterator<Item = (f64, Option<f64>)>, from: f64, to: f64, columns: usize) -> Stretches {
    let scale = columns.max(1) as f64 / (to - from);
    let mut stretches: Stretches = Vec::new();
    let mut open = false;
    let mut column: Option<(f64, Column)> = None;
    for (x, y) in points {
        let inside = x >= from && x <= to;
        let Some(y) = y.filter(|y| y.is_finite() && inside) else {
            if let Some((_, c)) = column.take() {
                c.put(&mut stretches);
            }
            open = false;
            continue;
        };
        let at = ((x - from) * scale).floor();
        match &mut column {
            Some((k, c)) if *k == at => c.add(x, y),
            _ => {
                if let Some((_, c)) = column.take() {
                    c.put(&mut stretches);
                }
                if !open {
                    stretches.push(Vec::new());
                    open = true;
                }
                column = Some((at, Column::new(x, y)));
            }
        }
    }
    if let Some((_, c)) = column {
        c.put(&mut stretches);
    }
    stretches
}

/// What is kept of a column.
struct Column {
    first: (f64, f64),
    low: (f64, f64),
    high: (f64, f64),
    last: (f64, f64),
}
impl Column {
    fn new(x: f64, y: f64) -> Self {
        Self { first: (x, y), low: (x, y), high: (x, y), last: (x, y) }
    }
    fn add(&mut self, x: f64, y: f64) {
        if y < self.low.1 {
            self.low = (x, y);
        }
        if y > self.high.1 {
            self.high = (x, y);
        }
        self.last = (x, y);
    }
    fn put(self, stretches: &mut Stretches) {
        let Some(line) = stretches.last_mut() else { return };
        let (a, b) = if self.low.0 <= self.high.0 { (self.low, self.high) } else { (self.high, self.low) };
        for p in [self.first, a, b, self.last] {
            if line.last() != Some(&p) {
                line.push(p);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_extremes_and_ends_of_every_column() {
        let points = (0..10_000).map(|k| {
            let x = f64::from(k) / 100.0;
            (x, Some(if k == 4321 { 99.0 } else { f64::from(k % 7) }))
        });
        let lines = decimate(points, 0.0, 100.0, 50);
        assert_eq!(lines.len(), 1);
        assert!(lines[0].len() <= 51 * 4, "{}", lines[0].len());
        assert!(lines[0].contains(&(43.21, 99.0)), "a lone peak stays");
        assert_eq!(lines[0][0], (0.0, 0.0));
        assert_eq!(lines[0].last().unwrap().0, 99.99);
        assert!(lines[0].windows(2).all(|w| w[0].0 <= w[1].0), "in order of time");
    }
    #[test]
    fn no_line_crosses_a_gap() {
        let points = (0..100).map(|k| (f64::from(k), (!(40..60).contains(&k)).then_some(1.0)));
        let lines = decimate(points, 0.0, 99.0, 10);
        assert_eq!(lines.len(), 2);
        assert_eq!(lines[0].last().unwrap().0, 39.0);
        assert_eq!(lines[1][0].0, 60.0);
    }
    #[test]
    fn a_break_within_one_column_still_breaks() {
        let points = [(0.1, Some(1.0)), (0.2, None), (0.3, Some(2.0))];
        assert_eq!(decimate(points, 0.0, 1.0, 1), [vec![(0.1, 1.0)], vec![(0.3, 2.0)]]);
    }
    #[test]
    fn no_number_breaks_and_outside_is_left_out() {
        let points = [(-1.0, Some(5.0)), (0.0, Some(1.0)), (1.0, Some(f64::NAN)), (2.0, Some(3.0)), (9.0, Some(4.0))];
        assert_eq!(decimate(points, 0.0, 4.0, 4), [vec![(0.0, 1.0)], vec![(2.0, 3.0)]]);
        assert!(decimate([], 0.0, 1.0, 5).is_empty());
    }
}
