//! Clock offset and delay from one exchange of four timestamps (RFC 5905 section 8).
//!
//! Not here: choosing among exchanges. The usual rule: of several, trust the one with the least delay.

/// Four timestamps of one exchange, microseconds. T1 and T4 on the tool's clock, T2 and T3 on the device's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Exchange {
    /// T1: the tool sent the request.
    pub sent: u64,
    /// T2: the device received it.
    pub device_received: u64,
    /// T3: the device sent the answer.
    pub device_sent: u64,
    /// T4: the tool received the answer.
    pub received: u64,
}
impl Exchange {
    /// Device clock less tool clock, microseconds: ((T2 - T1) + (T3 - T4)) / 2, rounded down. The true offset differs
    /// from this by at most half the delay.
    pub fn offset_us(&self) -> i128 {
        let there = i128::from(self.device_received) - i128::from(self.sent);
        let back = i128::from(self.device_sent) - i128::from(self.received);
        (there + back).div_euclid(2)
    }
    /// Time on the way, both ways together, microseconds: (T4 - T1) - (T3 - T2). `None` if the stamps contradict one
    /// another (a clock stepped, or stamps of different exchanges).
    pub fn delay_us(&self) -> Option<u64> {
        let total = self.received.checked_sub(self.sent)?;
        let inside = self.device_sent.checked_sub(self.device_received)?;
        total.checked_sub(inside)
    }
}

#[cfg(test)]
mod tests {
    use super::Exchange;
    #[test]
    fn offset_and_delay_by_the_equations() {
        // 5 ms there, 3 ms back, the device 1 s ahead, 2 ms inside.
        let x = Exchange { sent: 10_000, device_received: 1_015_000, device_sent: 1_017_000, received: 20_000 };
        assert_eq!((x.offset_us(), x.delay_us()), (1_001_000, Some(8_000)));
        // The other way round, the device behind; an odd sum rounds down.
        let x = Exchange { sent: 1_000_000, device_received: 4, device_sent: 5, received: 1_000_002 };
        assert_eq!((x.offset_us(), x.delay_us()), (-999_997, Some(1)));
    }
    #[test]
    fn contradicting_stamps_give_no_delay() {
        let x = Exchange { sent: 10, device_received: 0, device_sent: 100, received: 20 };
        assert_eq!(x.delay_us(), None);
        assert_eq!(Exchange { sent: 30, ..x }.delay_us(), None);
        assert_eq!(Exchange { device_sent: 0, device_received: 1, ..x }.delay_us(), None);
    }
}
