//! Marks on a rise whose form is not known exactly: how much longer than predicted it takes, whatever the form.
//!
//! A rise is predicted by two forms, and the true one lies somewhere about the first, towards the second or away from it. A mark
//! at one part of the rise shifts with the time and with the form; marks at different parts shift differently, and so tell the
//! one from the other. Not here: the forms themselves.
use crate::Error;
use libm::sqrt;

/// A moment that was marked on a rise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// When, from the beginning, s.
    pub at_s: f64,
    /// Its own standard uncertainty, s.
    pub u_s: f64,
    /// When this part of the rise comes by the first form, s.
    pub first_s: f64,
    /// When it comes by the second, s.
    pub second_s: f64,
}

/// What marks on rises of one kind say together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// So many times longer than predicted the rise takes.
    pub scale: f64,
    /// Standard uncertainty of that.
    pub u: f64,
    /// How far the form lies from the first towards the second (1), as far as the marks and what was held before tell.
    pub form: f64,
    /// By how much the marks scatter more than they are stated to; at least 1, and held in `u`.
    pub excess: f64,
}

/// Fits the time and the form of a rise to marks, by least squares; the form is held to be the first before, with this standard
/// uncertainty as a share of the way to the second. A scatter of the marks beyond what is stated of them widens the result (the ratio
/// of Birge 1932).
///
/// # Errors
/// [`Error::TooFew`] without a mark; [`Error::UnsoundEstimate`] for what is no time.
pub fn fit(marks: &[Mark], form_u: f64) -> Result<Fitted, Error> {
    if marks.is_empty() {
        return Err(Error::TooFew { have: 0, need: 1 });
    }
    let sound = |m: &Mark| {
        [m.at_s, m.first_s, m.second_s].iter().all(|t| t.is_finite() && *t > 0.0) && m.u_s.is_finite() && m.u_s > 0.0
    };
    if !(marks.iter().all(sound) && form_u.is_finite() && form_u > 0.0) {
        return Err(Error::UnsoundEstimate);
    }
    // at = scale first + g (second - first), g = scale form; what was held of the form counts as one more observation, of g.
    let held = 1.0 / (form_u * form_u);
    let (mut ff, mut fd, mut dd, mut tf, mut td) = (0.0, 0.0, held, 0.0, 0.0);
    for m in marks {
        let (w, d) = (1.0 / (m.u_s * m.u_s), m.second_s - m.first_s);
        ff += w * m.first_s * m.first_s;
        fd += w * m.first_s * d;
        dd += w * d * d;
        tf += w * m.at_s * m.first_s;
        td += w * m.at_s * d;
    }
    let det = ff * dd - fd * fd;
    let (scale, g) = ((dd * tf - fd * td) / det, (ff * td - fd * tf) / det);
    let off = |m: &Mark| (m.at_s - scale * m.first_s - g * (m.second_s - m.first_s)) / m.u_s;
    let squares = marks.iter().map(|m| off(m) * off(m)).sum::<f64>() + g * g * held;
    let free = marks.len() as f64 - 1.0;
    let excess = if free > 0.0 { sqrt(squares / free).max(1.0) } else { 1.0 };
    let u = sqrt(dd / det) * excess;
    let fitted = Fitted { scale, u, form: g / scale, excess };
    let is_number = [fitted.scale, fitted.u, fitted.form].iter().all(|x| x.is_finite());
    if is_number && scale > 0.0 { Ok(fitted) } else { Err(Error::UnsoundEstimate) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(at_s: f64, u_s: f64, first_s: f64, second_s: f64) -> Mark {
        Mark { at_s, u_s, first_s, second_s }
    }

    /// By hand: one mark without a difference of the forms is its own ratio.
    #[test]
    fn a_mark_where_the_forms_agree_is_its_own_ratio() {
        let f = fit(&[mark(22.0, 1.0, 20.0, 20.0)], 0.4).unwrap();
        assert!((f.scale - 1.1).abs() < 1e-12 && (f.u - 0.05).abs() < 1e-12 && f.form == 0.0, "{f:?}");
        // With a difference, what is not known of the form counts as it is: hypot(1, 0.4 x 5) / 20.
        let f = fit(&[mark(20.0, 1.0, 20.0, 15.0)], 0.4).unwrap();
        assert!((f.scale - 1.0).abs() < 1e-12 && (f.u - libm::hypot(1.0, 2.0) / 20.0).abs() < 1e-12, "{f:?}");
    }
    /// Two marks of a rise of the second form that takes 10 % longer.
    #[test]
    fn marks_at_two_parts_tell_time_and_form_apart() {
        let marks = [mark(1.1 * 12.0, 0.1, 15.0, 12.0), mark(1.1 * 30.0, 0.1, 30.0, 30.0)];
        let f = fit(&marks, 10.0).unwrap();
        assert!((f.scale - 1.1).abs() < 1e-3 && (f.form - 1.0).abs() < 0.01 && f.u < 0.005, "{f:?}");
    }
    /// numpy.linalg.lstsq of the weighted rows, the form's as the last (scripts/reference/rise.py).
    #[test]
    fn fits_as_numpy_does() {
        let one = [mark(21.0, 1.0, 20.0, 17.0)];
        let three = [one[0], mark(35.0, 1.5, 33.0, 32.0), mark(36.5, 1.5, 33.0, 32.0)];
        let apart = [mark(14.0, 0.3, 15.0, 12.0), mark(40.0, 0.8, 33.0, 32.5), mark(36.0, 0.8, 33.0, 32.5)];
        let want = [
            [1.05, 0.079_056_941_504, 0.0, 1.0],
            [1.080_920_840_065, 0.033_986_598_138, 0.103_902_315_085, 1.0],
            [1.157_421_337_243, 0.057_151_426_003, 0.909_035_715_666, 3.158_417_491_438],
        ];
        for (marks, want) in [&one[..], &three, &apart].into_iter().zip(want) {
            let f = fit(marks, 1.0 / sqrt(6.0)).unwrap();
            for (got, want) in [f.scale, f.u, f.form, f.excess].into_iter().zip(want) {
                assert!((got - want).abs() < 1e-9, "{f:?}");
            }
        }
    }
    #[test]
    fn scatter_beyond_what_is_stated_widens() {
        let tight = [mark(20.0, 1.0, 20.0, 20.0), mark(20.0, 1.0, 20.0, 20.0)];
        let wide = [mark(15.0, 1.0, 20.0, 20.0), mark(25.0, 1.0, 20.0, 20.0)];
        let (tight, wide) = (fit(&tight, 0.4).unwrap(), fit(&wide, 0.4).unwrap());
        assert!(tight.excess == 1.0 && (wide.excess - libm::sqrt(50.0)).abs() < 1e-9);
        assert!((wide.u / tight.u - wide.excess).abs() < 1e-9);
    }
    #[test]
    fn no_number_is_an_error() {
        assert_eq!(fit(&[], 0.4), Err(Error::TooFew { have: 0, need: 1 }));
        for bad in [f64::NAN, 0.0, -1.0, f64::INFINITY] {
            assert_eq!(fit(&[mark(bad, 1.0, 20.0, 20.0)], 0.4), Err(Error::UnsoundEstimate));
            assert_eq!(fit(&[mark(20.0, bad, 20.0, 20.0)], 0.4), Err(Error::UnsoundEstimate));
            assert_eq!(fit(&[mark(20.0, 1.0, 20.0, 20.0)], bad), Err(Error::UnsoundEstimate));
        }
    }
}
