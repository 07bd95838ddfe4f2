//! What an earthmoving contractor is told of a block's hauls: how far, with what, from where to where, at what price.

use super::{earth_balance, sheet, view};
use crate::land::levelling::{BlockEarth, HaulBand};

/// Lines of a work order, bank cubic metres.
pub(super) fn orders(currency: &str, earth: &BlockEarth) -> Vec<String> {
    let mut lines = vec![format!("Surface: {}, built with {}.", earth.surface.words(), earth.surface.machine())];
    if earth.bands.is_empty() {
        lines.push("Haul bands: none.".to_owned());
        return lines;
    }
    let bands: Vec<String> = earth.bands.iter().map(band).collect();
    let cost = earth.cost.map(|c| c / earth.cut_m3.max(1.0));
    lines.push(format!(
        "Haul bands to price, in {currency}/m\u{b3} each, with the machine that is cheapest there: {}. Budgeted with finishing, topsoil \
         and borrow: {:.2} to {:.2} a m\u{b3} of cut.",
        bands.join("; "),
        cost.low,
        cost.high
    ));
    let all_m3: f64 = earth.hauls.iter().map(|h| h.volume_m3).sum();
    let main_m3: f64 = view::main_hauls(earth).map(|h| h.volume_m3).sum();
    let hauls = view::main_hauls(earth).enumerate().map(|(i, h)| {
        let (volume, from, to) = (sheet::grouped(h.volume_m3), h.from, h.to);
        format!(
            "({}) {volume} m\u{b3} from {:.0} / {:.0} to {:.0} / {:.0}, {:.0} m",
            i + 1,
            from.x,
            from.y,
            to.x,
            to.y,
            h.distance_m
        )
    });
    let hauls: Vec<String> = hauls.collect();
    if !hauls.is_empty() {
        lines.push(format!(
            "Main hauls, numbered on the map, east / north of the middles of cut and fill, mean way: {}. They carry {} of the {} m\u{b3} \
             that go further than one push; the rest is in tables/hauls.csv.",
            hauls.join("; "),
            sheet::grouped(main_m3),
            sheet::grouped(all_m3)
        ));
    }
    if !earth.places.is_empty() {
        let places: Vec<String> = earth.places.iter().map(earth_balance::place_words).collect();
        lines.push(format!("Borrow and spoil: {}.", places.join("; ")));
    }
    lines
}

fn band(band: &HaulBand) -> String {
    let machines: Vec<String> = band
        .by_machine
        .iter()
        .map(|(machine, volume_m3)| format!("{} {}", machine.words(), sheet::grouped(*volume_m3)))
        .collect();
    format!("to {:.0} m {} m\u{b3} ({})", band.up_to_m, sheet::grouped(band.volume_m3), machines.join(", "))
}
