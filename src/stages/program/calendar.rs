//! Days and months of a works calendar: plain 365-day years, so a calendar never depends on the clock.

const MONTH_DAYS: [u32; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// A season window, first to last month (1 to 12), round the turn of the year if need be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Window {
    pub(super) from: u8,
    pub(super) to: u8,
}

impl Window {
    pub(super) const ALWAYS: Self = Self { from: 1, to: 12 };

    fn holds(self, month: u8) -> bool {
        if self.from <= self.to {
            (self.from..=self.to).contains(&month)
        } else {
            month >= self.from || month <= self.to
        }
    }
}

/// A calendar that starts on the first of a month.
#[derive(Debug, Clone, Copy)]
pub(super) struct Calendar {
    pub(super) start_year: u32,
    pub(super) start_month: u8,
}

impl Calendar {
    /// Year and month (1 to 12) of a day counted from the start.
    pub(super) fn month_of(self, day: u32) -> (u32, u8) {
        let mut month = u32::from(self.start_month.clamp(1, 12)) - 1;
        let mut year = self.start_year + day / 365;
        let mut left = day % 365;
        while left >= MONTH_DAYS[month as usize] {
            left -= MONTH_DAYS[month as usize];
            month += 1;
            if month == 12 {
                month = 0;
                year += 1;
            }
        }
        (year, u8::try_from(month + 1).unwrap_or(1))
    }

    /// "2027-08".
    pub(super) fn label(self, day: u32) -> String {
        let (year, month) = self.month_of(day);
        format!("{year}-{month:02}")
    }

    /// First day from `earliest` on that lies in the window.
    fn next_open(self, earliest: u32, window: Window) -> u32 {
        (earliest..earliest + 366).find(|day| window.holds(self.month_of(*day).1)).unwrap_or(earliest)
    }

    /// Start and end of `days` of work that may start at `earliest` and only goes on inside the window: work that does
    /// not fit before the window closes goes on when it opens again.
    pub(super) fn place(self, earliest: u32, days: u32, window: Window) -> (u32, u32) {
        let start = self.next_open(earliest, window);
        let mut day = start;
        for _ in 1..days {
            day = self.next_open(day + 1, window);
        }
        (start, day + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CALENDAR: Calendar = Calendar { start_year: 2027, start_month: 4 };

    #[test]
    fn months_follow() {
        assert_eq!(CALENDAR.label(0), "2027-04");
        assert_eq!(CALENDAR.label(29), "2027-04");
        assert_eq!(CALENDAR.label(30), "2027-05");
        assert_eq!(CALENDAR.label(275), "2028-01");
        assert_eq!(CALENDAR.label(365), "2028-04");
    }

    #[test]
    fn work_waits_for_its_season_and_goes_on_in_the_next() {
        let window = Window { from: 8, to: 8 };
        let (start, end) = CALENDAR.place(0, 10, window);
        assert_eq!((CALENDAR.label(start), end - start), ("2027-08".to_owned(), 10));
        let (start, end) = CALENDAR.place(0, 40, window);
        assert_eq!((CALENDAR.label(start), CALENDAR.label(end - 1)), ("2027-08".to_owned(), "2028-08".to_owned()));
    }

    #[test]
    fn a_window_may_span_the_new_year() {
        let wet = Window { from: 11, to: 3 };
        assert!(wet.holds(12) && wet.holds(1) && !wet.holds(6));
    }
}
