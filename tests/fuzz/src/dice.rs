//! Decisions taken from the fuzzer's bytes, one after the other. Spent bytes decide 0, so that an input can be short.

pub(crate) struct Dice<'a>(&'a [u8]);
impl<'a> Dice<'a> {
    pub(crate) fn new(data: &'a [u8]) -> Self {
        Self(data)
    }
    pub(crate) fn is_spent(&self) -> bool {
        self.0.is_empty()
    }
    pub(crate) fn byte(&mut self) -> u8 {
        match self.0.split_first() {
            Some((first, rest)) => {
                self.0 = rest;
                *first
            }
            None => 0,
        }
    }
    pub(crate) fn u16(&mut self) -> u16 {
        u16::from_le_bytes([self.byte(), self.byte()])
    }
    pub(crate) fn u32(&mut self) -> u32 {
        u32::from(self.u16()) | u32::from(self.u16()) << 16
    }
    pub(crate) fn u64(&mut self) -> u64 {
        u64::from(self.u32()) | u64::from(self.u32()) << 32
    }
    /// At most `most` bytes; fewer at the end.
    pub(crate) fn bytes(&mut self, most: usize) -> &'a [u8] {
        let (taken, rest) = self.0.split_at(most.min(self.0.len()));
        self.0 = rest;
        taken
    }
    /// Any number, the awkward ones often.
    pub(crate) fn number(&mut self) -> f64 {
        match self.byte() {
            0..40 => f64::from(self.byte()),
            40..80 => f64::from(self.u16()) / 1000.0,
            80..120 => -f64::from(self.byte()),
            120..140 => f64::NAN,
            140..160 => f64::INFINITY,
            160..180 => f64::MAX,
            180..200 => f64::MIN_POSITIVE / 2.0,
            _ => f64::from_bits(self.u64()),
        }
    }
}
