//! The shipped parts. All of them are invented: typical of their class, no copy of anything on sale.

/// Name and text (TOML) of every shipped part: `kind`, `title`, `invented` and, under `[params]`, the parameters of
/// the kind with their units.
pub fn shipped() -> &'static [(&'static str, &'static str)] {
    &[
        ("stack-750v-5m4", include_str!("parts/stack-750v-5m4.toml")),
        ("stack-750v-18m", include_str!("parts/stack-750v-18m.toml")),
        ("stack-1200v-9m", include_str!("parts/stack-1200v-9m.toml")),
        ("stack-1200v-35m", include_str!("parts/stack-1200v-35m.toml")),
        ("mosfet-sic-650v-25m", include_str!("parts/mosfet-sic-650v-25m.toml")),
        ("mosfet-sic-750v-18m", include_str!("parts/mosfet-sic-750v-18m.toml")),
        ("mosfet-sic-1200v-16m", include_str!("parts/mosfet-sic-1200v-16m.toml")),
        ("mosfet-sic-1200v-80m", include_str!("parts/mosfet-sic-1200v-80m.toml")),
        ("mosfet-superjunction-650v-40m", include_str!("parts/mosfet-superjunction-650v-40m.toml")),
        ("mosfet-si-30v-0m6", include_str!("parts/mosfet-si-30v-0m6.toml")),
        ("diode-sic-750v-60a", include_str!("parts/diode-sic-750v-60a.toml")),
        ("diode-sic-1200v-40a", include_str!("parts/diode-sic-1200v-40a.toml")),
        ("diode-si-650v-30a", include_str!("parts/diode-si-650v-30a.toml")),
        ("varistor-400v-bus", include_str!("parts/varistor-400v-bus.toml")),
    ]
}
