//! The shipped parts. All of them are invented: typical of their class, no copy of anything on sale.

/// Name and text (TOML) of every shipped part: `kind`, `title`, `invented` and, under `[params]`, the parameters of
/// the kind with their units.
pub fn shipped() -> &'static [(&'static str, &'static str)] {
    &[
        ("stack-750v-5m4", include_str!("parts/stack-750v-5m4.toml")),
        ("stack-750v-18m", include_str!("parts/stack-750v-18m.toml")),
        ("varistor-400v-bus", include_str!("parts/varistor-400v-bus.toml")),
        ("diode-sic-750v-60a", include_str!("parts/diode-sic-750v-60a.toml")),
    ]
}
