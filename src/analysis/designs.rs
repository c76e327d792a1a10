//! What the intervals of nested designs cover, found by simulation.

/// A design that was tried: normal errors, part of whose variance is the device's, and how often the 95 % interval of the
/// 95th percentile of the absolute error held the true value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tried {
    /// Number of devices.
    pub devices: u64,
    /// Cases of each.
    pub cases: u64,
    /// Proportion of the variance that is the device's.
    pub device_share: f64,
    /// Number of repeats of the whole design.
    pub repeats: u32,
    /// Part of them whose interval held the true value.
    pub coverage: f64,
}

const fn tried(devices: u64, device_share: f64, coverage: f64) -> Tried {
    Tried { devices, cases: 50, device_share, repeats: 2000, coverage }
}

/// The designs; a test of long duration finds the same figures again.
pub const TRIED: [Tried; 6] = [
    tried(20, 0.1, 0.914),
    tried(20, 0.3, 0.894),
    tried(20, 0.5, 0.866),
    tried(60, 0.1, 0.9385),
    tried(60, 0.3, 0.926),
    tried(60, 0.5, 0.918),
];

/// The design tried that is nearest: by the ratio of the numbers of devices, then by the device's proportion.
#[must_use]
pub fn nearest(devices: u64, device_share: f64) -> &'static Tried {
    let away = |tried: &Tried| {
        let ratio = libm::fabs(libm::log(tried.devices as f64 / devices.max(1) as f64));
        ratio * 100.0 + libm::fabs(tried.device_share - device_share)
    };
    let mut best = &TRIED[0];
    for tried in &TRIED {
        if away(tried) < away(best) {
            best = tried;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_the_nearest_design() {
        let found = |devices, share| (nearest(devices, share).devices, nearest(devices, share).device_share);
        assert_eq!(found(60, 0.28), (60, 0.3));
        assert_eq!(found(50, 0.0), (60, 0.1));
        assert_eq!(found(2, 0.9), (20, 0.5));
        assert_eq!(found(5000, 0.42), (60, 0.5));
    }
}
