//! The secret in a page's link: one for each role, drawn anew for each run of a job, and the link as a square to be photographed.
use plumeline_base::input::Role;

/// The codes of one run, 128 bits each.
pub struct Codes([(Role, String); 3]);

impl Codes {
    /// Draws new ones from the system.
    ///
    /// # Errors
    /// The system gives no random bytes.
    pub fn draw() -> Result<Self, String> {
        let draw = |role| -> Result<_, String> {
            let mut bytes = [0; 16];
            getrandom::fill(&mut bytes)
                .map_err(|e| format!("the system gives no random bytes for the page's code: {e}"))?;
            Ok((role, base16ct::lower::encode_string(&bytes)))
        };
        Ok(Self([draw(Role::FarEnd)?, draw(Role::Watch)?, draw(Role::Lead)?]))
    }
    /// The role that this code is for. How long it takes tells nothing of how much of it is right.
    pub fn role(&self, code: &str) -> Option<Role> {
        let same = |right: &str| {
            let differ = right.bytes().zip(code.bytes()).fold(0, |all, (a, b)| all | (a ^ b));
            right.len() == code.len() && differ == 0
        };
        self.0.iter().fold(None, |found, (role, right)| if same(right) { Some(*role) } else { found })
    }
    /// The links, by role. A browser sends nothing of what stands behind the `#`.
    pub fn links(&self, scheme: &str, address: &str) -> Vec<(Role, String)> {
        self.0.iter().map(|(role, code)| (*role, format!("{scheme}://{address}/#{code}"))).collect()
    }
}

/// A link as a QR code in half blocks, two rows of squares a line, dark on light whatever the terminal's colours are.
pub fn square(link: &str) -> Option<String> {
    let code = qrcode::QrCode::with_error_correction_level(link, qrcode::EcLevel::L).ok()?;
    let width = code.width();
    let colours = code.to_colors();
    // Two light squares all round; the standard's four (ISO/IEC 18004, 9.1) need more rows than a terminal of 24 lines has.
    const MARGIN: usize = 2;
    let dark = |x: usize, y: usize| {
        let (Some(x), Some(y)) = (x.checked_sub(MARGIN), y.checked_sub(MARGIN)) else { return false };
        x < width && y < width && colours.get(y * width + x).is_some_and(|c| *c == qrcode::Color::Dark)
    };
    let rows = (0..width + 2 * MARGIN).step_by(2).map(|y| {
        (0..width + 2 * MARGIN)
            .map(|x| match (dark(x, y), dark(x, y + 1)) {
                (true, true) => ' ',
                (true, false) => '\u{2584}',
                (false, true) => '\u{2580}',
                (false, false) => '\u{2588}',
            })
            .collect::<String>()
    });
    Some(rows.collect::<Vec<_>>().join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_code_is_for_one_role_and_nothing_else_is_one() {
        let (codes, others) = (Codes::draw().unwrap(), Codes::draw().unwrap());
        for ((role, code), (_, other)) in codes.0.iter().zip(&others.0) {
            assert_eq!((code.len(), codes.role(code)), (32, Some(*role)));
            assert_eq!(codes.role(other), None);
            assert_eq!(codes.role(&code[..31]), None);
            assert_eq!(codes.role(&format!("{code}0")), None);
        }
        assert_eq!(codes.role(""), None);
    }
    #[test]
    fn a_square_fits_a_terminal() {
        let links = Codes::draw().unwrap().links("https", "192.168.100.100:8480");
        let square = square(&links[0].1).unwrap();
        let lines: Vec<&str> = square.lines().collect();
        assert!(lines.len() <= 22 && lines.iter().all(|l| l.chars().count() <= 80), "{} lines", lines.len());
        assert!(lines[0].chars().all(|c| c == '\u{2588}'), "a light margin");
    }
}
