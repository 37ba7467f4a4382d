//! A symmetric positive definite system over a graph, factored afresh at each step in an order found once.
//!
//! The order is that of least degree (Tinney and Walker, Proc. IEEE 1967): a tree then has no fill and costs one pass up and
//! one down. Not here: pivoting, which such systems don't need.

/// The structure and the numbers of one system.
#[derive(Clone, Debug)]
pub(crate) struct Matrix {
    /// Nodes in the order in which they are eliminated.
    order: Vec<u32>,
    /// For each place in `order`: where its links and fills start; one more at the end.
    starts: Vec<(u32, u32)>,
    /// (later neighbour, slot) of each eliminated node.
    links: Vec<(u32, u32)>,
    /// Pairs of slots that touch a third when their node is eliminated: (slot, slot, target slot).
    fills: Vec<(u32, u32, u32)>,
    /// Slot of each edge given to [`Matrix::new`].
    slots: Vec<u32>,
    /// The diagonal.
    pub(crate) diagonal: Vec<f64>,
    off: Vec<f64>,
}

impl Matrix {
    /// For `n` nodes joined by `edges` (no node with itself).
    pub(crate) fn new(n: usize, edges: &[(u32, u32)]) -> Self {
        use std::collections::BTreeMap;
        // The rows not yet eliminated: neighbour -> slot.
        let mut rows: Vec<BTreeMap<u32, u32>> = vec![BTreeMap::new(); n];
        let mut count = 0;
        let mut join = |rows: &mut Vec<BTreeMap<u32, u32>>, a: u32, b: u32| -> u32 {
            if let Some(&slot) = rows[a as usize].get(&b) {
                return slot;
            }
            rows[a as usize].insert(b, count);
            rows[b as usize].insert(a, count);
            count += 1;
            count - 1
        };
        let slots = edges.iter().map(|&(a, b)| join(&mut rows, a, b)).collect();
        // (degree, node) of those not yet eliminated, kept sorted.
        let mut waiting: std::collections::BTreeSet<(usize, u32)> =
            rows.iter().enumerate().map(|(i, r)| (r.len(), i as u32)).collect();
        let (mut order, mut starts, mut links, mut fills) = (vec![], vec![], vec![], vec![]);
        while let Some((_, k)) = waiting.pop_first() {
            order.push(k);
            starts.push((links.len() as u32, fills.len() as u32));
            let row: Vec<(u32, u32)> = rows[k as usize].iter().map(|(&i, &s)| (i, s)).collect();
            for &(i, _) in &row {
                waiting.remove(&(rows[i as usize].len(), i));
                rows[i as usize].remove(&k);
            }
            for (x, &(i, si)) in row.iter().enumerate() {
                for &(j, sj) in &row[x + 1..] {
                    fills.push((si, sj, join(&mut rows, i, j)));
                }
            }
            for &(i, _) in &row {
                waiting.insert((rows[i as usize].len(), i));
            }
            links.extend(row);
        }
        starts.push((links.len() as u32, fills.len() as u32));
        Self { order, starts, links, fills, slots, diagonal: vec![0.0; n], off: vec![0.0; count as usize] }
    }
    /// Sets every number to zero.
    pub(crate) fn clear(&mut self) {
        self.diagonal.fill(0.0);
        self.off.fill(0.0);
    }
    /// Adds the conductance `g` of edge number `edge` between its nodes `a` and `b`.
    pub(crate) fn add_edge(&mut self, edge: usize, a: usize, b: usize, g: f64) {
        self.diagonal[a] += g;
        self.diagonal[b] += g;
        self.off[self.slots[edge] as usize] -= g;
    }
    /// Replaces `b` by the solution; the numbers are used up.
    pub(crate) fn solve(&mut self, b: &mut [f64]) {
        for (step, &k) in self.order.iter().enumerate() {
            let k = k as usize;
            let (from, to) = (self.starts[step], self.starts[step + 1]);
            let pivot = 1.0 / self.diagonal[k];
            self.diagonal[k] = pivot;
            for &(i, slot) in &self.links[from.0 as usize..to.0 as usize] {
                let a = self.off[slot as usize];
                self.diagonal[i as usize] -= a * a * pivot;
                b[i as usize] -= a * pivot * b[k];
            }
            for &(x, y, target) in &self.fills[from.1 as usize..to.1 as usize] {
                self.off[target as usize] -= self.off[x as usize] * self.off[y as usize] * pivot;
            }
        }
        for (step, &k) in self.order.iter().enumerate().rev() {
            let k = k as usize;
            let mut sum = b[k];
            for &(i, slot) in &self.links[self.starts[step].0 as usize..self.starts[step + 1].0 as usize] {
                sum -= self.off[slot as usize] * b[i as usize];
            }
            b[k] = sum * self.diagonal[k];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Stream;
    #[test]
    fn solves_random_graphs() {
        let mut s = Stream::new(5, 0);
        for round in 0..200 {
            let n = 2 + (s.word() % 30) as usize;
            let mut edges: Vec<(u32, u32)> = (1..n as u32).map(|i| ((s.word() % u64::from(i)) as u32, i)).collect();
            for _ in 0..round % 7 {
                let (a, b) = ((s.word() % n as u64) as u32, (s.word() % n as u64) as u32);
                if a != b {
                    edges.push((a, b));
                }
            }
            let mut m = Matrix::new(n, &edges);
            m.clear();
            let mut dense = vec![vec![0.0; n]; n];
            for (e, &(a, b)) in edges.iter().enumerate() {
                let (a, b, g) = (a as usize, b as usize, 0.1 + s.uniform());
                m.add_edge(e, a, b, g);
                dense[a][a] += g;
                dense[b][b] += g;
                dense[a][b] -= g;
                dense[b][a] -= g;
            }
            for (i, row) in dense.iter_mut().enumerate() {
                let ground = 0.01 * s.uniform();
                m.diagonal[i] += ground;
                row[i] += ground;
            }
            let want: Vec<f64> = (0..n).map(|_| s.normal()).collect();
            let mut b: Vec<f64> = dense.iter().map(|row| row.iter().zip(&want).map(|(a, x)| a * x).sum()).collect();
            m.solve(&mut b);
            for (got, want) in b.iter().zip(&want) {
                assert!((got - want).abs() < 1e-9, "{got} for {want}");
            }
        }
    }
    #[test]
    fn trees_have_no_fill() {
        let edges: Vec<(u32, u32)> = (1..50).map(|i| (i / 3, i)).collect();
        assert!(Matrix::new(50, &edges).fills.is_empty());
    }
}
