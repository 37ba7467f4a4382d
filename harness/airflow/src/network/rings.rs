//! Rings: the flows of the segments that close them, within the Newton step. Not here: the tree.
//!
//! With a chord's flow taken out of one tree position and put into another, the tree answers linearly; the chords'
//! own laws then make a small dense system.
use super::{Network, newton::Workspace};
use alloc::vec::Vec;

impl Network {
    /// The chords' system at the linearisation that the workspace holds, transposed.
    pub(crate) fn chord_system(&self, ws: &mut Workspace) -> Vec<f64> {
        let count = self.layout.chords.len();
        self.fill_matrix(ws);
        (0..count * count).map(|k| ws.chords.matrix[k % count * count + k / count]).collect()
    }

    /// Sets the chords' step from the tree's pressures without chord flows, x, and its responses to them.
    pub(crate) fn solve_chords(&self, ws: &mut Workspace) {
        self.fill_matrix(ws);
        for (i, &(_, far, near)) in self.layout.chords.iter().enumerate() {
            ws.chords.step[i] = ws.x[far as usize] - ws.x[near as usize] - ws.chords.e[i];
        }
        eliminate(&mut ws.chords.matrix, &mut ws.chords.step);
        for (step, flow) in ws.chords.step.iter_mut().zip(&ws.chords.flow) {
            *step -= flow;
        }
    }

    fn fill_matrix(&self, ws: &mut Workspace) {
        let chords = &self.layout.chords;
        let count = chords.len();
        ws.u.fill(0.0);
        for (j, &(_, far, near)) in chords.iter().enumerate() {
            self.inject(ws, far as usize, -1.0);
            self.inject(ws, near as usize, 1.0);
            for (i, &(_, far, near)) in chords.iter().enumerate() {
                let response = self.response(ws, far as usize) - self.response(ws, near as usize);
                ws.chords.matrix[i * count + j] = if i == j { ws.chords.r[i] } else { 0.0 } - response;
            }
            self.forget(ws, far as usize);
            self.forget(ws, near as usize);
        }
    }

    /// Adds the chords' new flows to what enters the positions.
    pub(crate) fn load_chords(&self, ws: &mut Workspace) {
        for (i, &(_, far, near)) in self.layout.chords.iter().enumerate() {
            let flow = ws.chords.flow[i] + ws.chords.step[i];
            ws.a[far as usize] -= ws.weight[far as usize] * flow;
            ws.a[near as usize] += ws.weight[near as usize] * flow;
        }
    }

    /// Puts a flow into a position; `u` then holds what enters each position of its way to the root.
    fn inject(&self, ws: &mut Workspace, at: usize, flow: f64) {
        let (mut at, mut flow) = (at, flow);
        while at != 0 {
            flow *= ws.weight[at];
            ws.u[at] += flow;
            flow *= ws.d[at];
            at = self.layout.parent[at] as usize;
        }
    }

    fn forget(&self, ws: &mut Workspace, mut at: usize) {
        while at != 0 {
            ws.u[at] = 0.0;
            at = self.layout.parent[at] as usize;
        }
    }

    /// Pressure that the injected flows make at a position.
    fn response(&self, ws: &Workspace, mut at: usize) -> f64 {
        let (mut sum, mut product) = (0.0, 1.0);
        while at != 0 {
            product *= ws.d[at];
            sum += product * ws.r[at] * ws.u[at];
            at = self.layout.parent[at] as usize;
        }
        sum
    }
}

/// Gaussian elimination with partial pivoting; the matrix (row by row) is used up, the right side becomes the
/// solution. An unknown without a pivot stays zero.
pub(crate) fn eliminate(matrix: &mut [f64], right: &mut [f64]) {
    let n = right.len();
    for col in 0..n {
        let mut best = col;
        for row in col + 1..n {
            if matrix[row * n + col].abs() > matrix[best * n + col].abs() {
                best = row;
            }
        }
        if best != col {
            for k in 0..n {
                matrix.swap(col * n + k, best * n + k);
            }
            right.swap(col, best);
        }
        let pivot = matrix[col * n + col];
        if pivot == 0.0 {
            continue;
        }
        for row in col + 1..n {
            let by = matrix[row * n + col] / pivot;
            if by != 0.0 {
                for k in col..n {
                    matrix[row * n + k] -= by * matrix[col * n + k];
                }
                right[row] -= by * right[col];
            }
        }
    }
    for row in (0..n).rev() {
        let pivot = matrix[row * n + row];
        let known: f64 = (row + 1..n).map(|k| matrix[row * n + k] * right[k]).sum();
        right[row] = if pivot == 0.0 { 0.0 } else { (right[row] - known) / pivot };
    }
}

#[cfg(test)]
mod tests {
    use super::eliminate;
    #[test]
    fn solves_what_needs_a_pivot() {
        let mut m = [0.0, 2.0, 1.0, 1.0, 1.0, 0.0, 3.0, 0.0, 1.0];
        let mut r = [7.0, 3.0, 6.0];
        eliminate(&mut m, &mut r);
        for (x, want) in r.into_iter().zip([1.0, 2.0, 3.0]) {
            assert!((x - want).abs() < 1e-14, "{r:?}");
        }
    }
}
