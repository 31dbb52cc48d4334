//! The form of the tables of names: an enum and what is known of each of its values, a row a value. A row without one of the columns does not
//! compile, and a value without a row does not exist.

/// Makes an enum, its list `ALL`, its table, and its names in files (`name`, `from_name`, serde) from rows.
macro_rules! table {
    (
        $(#[$doc:meta])*
        pub enum $Name:ident of $Row:ident {
            $( $(#[$value_doc:meta])* $Value:ident = { $($column:ident : $entry:expr),+ $(,)? } )+
        }
    ) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $Name {
            $( $(#[$value_doc])* $Value, )+
        }

        impl $Name {
            /// Every one, in the order of the table.
            pub const ALL: [Self; [$( stringify!($Value) ),+].len()] = [$( Self::$Value ),+];

            /// What is known of it.
            pub const fn row(self) -> &'static $Row {
                static TABLE: [$Row; $Name::ALL.len()] = [$( $Row { $($column: $entry),+ } ),+];
                &TABLE[self as usize]
            }

            /// The name in files.
            pub const fn name(self) -> &'static str {
                self.row().name
            }

            /// The name in the words of the trade, for people.
            pub const fn title(self) -> &'static str {
                self.row().title
            }

            /// From its name in files.
            pub fn from_name(name: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.name() == name)
            }
        }

        impl $crate::quantity::Name for $Name {
            const ALL: &'static [Self] = &Self::ALL;

            fn name(self) -> &'static str {
                Self::name(self)
            }

            fn title(self) -> String {
                Self::title(self).to_owned()
            }
        }

        impl serde::Serialize for $Name {
            fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                to.serialize_str(self.name())
            }
        }

        impl<'de> serde::Deserialize<'de> for $Name {
            fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                let name = <std::borrow::Cow<'de, str> as serde::Deserialize>::deserialize(from)?;
                Self::from_name(&name).ok_or_else(|| {
                    serde::de::Error::custom(format_args!("{name:?} is not the name of a {}", stringify!($Name)))
                })
            }
        }
    };
}
pub(super) use table;
