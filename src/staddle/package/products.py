"""The ProductSections: what the product is, and the questions it asks.

What an answer must be like is judged in properties.py; the qualifiers' form is in qualifiers.py.

Source: DSP0243, product section and its table of types; the full key is ``[class.]key[.instance]``.
"""

import dataclasses
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from staddle.kernel import InputRefused, Severity
from staddle.package.appaddress import REFERENCE
from staddle.package.configurations import sizes_named
from staddle.package.markup import Element, local_name
from staddle.package.model import Property, Size
from staddle.package.properties import TYPES, check_answer
from staddle.package.propertyindex import PropertyIndex
from staddle.package.qualifiers import Qualifiers, read_qualifiers
from staddle.package.reading import MAKER_MUST, Reading

__all__ = ["Product", "read_product", "read_properties"]

_SOURCE = "DSP0243, product section"
_MOST_ADDRESS = 2000  # ours: characters; browsers take hardly more
_PARTS_OF_PROPERTY = 5  # what it keeps in memory, counted in devices of a machine


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """What the first product section that names a product says."""

    product: str = ""
    vendor: str = ""
    version: str = ""
    full_version: str = ""
    product_url: str = ""
    vendor_url: str = ""
    application_url: str = ""
    application_url_keys: tuple[tuple[str, str], ...] = ()


def read_product(reading: Reading, systems: Sequence[Element], properties: Sequence[Property]) -> Product:
    """The product; empty fields where no section tells.

    Args: systems: the virtual system first, then what encloses it; properties: all that the virtual system sees.
    """
    for system in systems:
        for section in reading.children(system, "ProductSection"):
            if name := reading.text(section, "Product"):
                address = reading.text(section, "AppUrl")
                return Product(
                    product=name,
                    vendor=reading.text(section, "Vendor"),
                    version=reading.text(section, "Version") or reading.text(section, "FullVersion"),
                    full_version=reading.text(section, "FullVersion"),
                    product_url=reading.text(section, "ProductUrl"),
                    vendor_url=reading.text(section, "VendorUrl"),
                    application_url=address,
                    application_url_keys=_address_keys(reading, section, address, properties),
                )
    return Product()


def _address_keys(
    reading: Reading, section: Element, address: str, properties: Sequence[Property]
) -> tuple[tuple[str, str], ...]:
    """Which property each ``${name}`` of the product's address means. A name that means none is told, and stays."""
    if len(address) > _MOST_ADDRESS:
        reading.finding(
            "application-url-long",
            Severity.NOTE,
            f"the product's address has {len(address)} characters",
            at=section,
            why=f"nothing is put into one of more than {_MOST_ADDRESS}",
            mend=MAKER_MUST,
            source=_SOURCE,
        )
        return ()
    names = Counter(REFERENCE.findall(address))
    index = PropertyIndex(properties)
    entry = reading.attribute(section, "class") or "", reading.attribute(section, "instance") or ""
    keys: dict[str, str] = {}
    for name, times in names.items():
        prop = index.find(_full_key(entry, name)) or index.find(name)
        if prop is None:
            reading.finding(
                "application-url-unknown",
                Severity.NOTE,
                f"the product's address {address} holds ${{{name}}}, and there is no such property, or several",
                at=section,
                why="the address is told with that name in it, as the maker wrote it",
                mend=MAKER_MUST,
                source=_SOURCE,
            )
        elif prop.password:
            reading.finding(
                "application-url-secret",
                Severity.RISK,
                f'the product\'s address {address} is to hold the secret "{prop.label}"',
                at=section,
                why="addresses are kept by browsers and written into logs; the secret is not put in here",
                mend=MAKER_MUST,
                source="common practice, no source",
            )
        else:
            keys[name] = prop.key
            longest = max((len(text) for _, text in prop.defaults), default=0)
            reading.spend_expanded(times * longest, at=section)
    return tuple(keys.items())


def _full_key(entry: tuple[str, str], bare: str) -> str:
    klass, instance = entry
    return ".".join(part for part in (klass, bare, instance) if part)


def read_properties(
    reading: Reading, systems: Sequence[Element], sizes: tuple[Size, ...]
) -> tuple[Property, ...]:
    """Every property that the virtual system sees, its own and those of what encloses it, outermost first.

    Args: systems: the virtual system first, then what encloses it.
    """
    visible: dict[str, Property] = {}
    for depth, system in enumerate(reversed(systems)):
        enclosing = PropertyIndex(visible.values()) if depth else None
        own: dict[str, Property] = {}
        entries: set[tuple[str, str]] = set()
        for section in reading.children(system, "ProductSection"):
            entry = reading.attribute(section, "class") or "", reading.attribute(section, "instance") or ""
            if entry in entries:
                reading.fault(
                    f'there are two product sections with the class "{entry[0]}" and the instance "{entry[1]}"',
                    at=section,
                    why="class and instance together must be unique",
                )
            entries.add(entry)
            for element, prop in _section_properties(reading, section, entry, sizes):
                if prop.key in own:
                    reading.fault(f'the property "{prop.key}" stands twice', at=element)
                own[prop.key] = _expand(reading, element, prop, enclosing)
                _judge_defaults(reading, element, own[prop.key])
        visible |= own
    return tuple(visible.values())


def _section_properties(
    reading: Reading, section: Element, entry: tuple[str, str], sizes: tuple[Size, ...]
) -> list[tuple[Element, Property]]:
    for name, text in zip(("class", "instance"), entry, strict=True):
        if ":" in text:
            reading.fault(f'the {name} "{text}" holds a colon', at=section)
    category = ""
    found = []
    for child in reading.children(section, "Category", "Property"):
        if local_name(child) == "Category":
            category = reading.message(child)
        elif prop := _read_property(reading, child, entry, category, sizes):
            found.append((child, prop))
    return found


def _read_property(
    reading: Reading, element: Element, entry: tuple[str, str], category: str, sizes: tuple[Size, ...]
) -> Property | None:
    reading.spend(_PARTS_OF_PROPERTY + len(element), at=element)
    bare = reading.needed(element, "key")
    kind = reading.needed(element, "type")
    if not bare or not kind:
        return None
    if ":" in bare:
        reading.fault(f'the property key "{bare}" holds a colon', at=element)
    if "." in bare:
        reading.finding(
            "property-key-dot",
            Severity.NOTE,
            f'the property key "{bare}" holds a full stop',
            at=element,
            why="the full stop separates class, key and instance; the parts can be mistaken",
            source=_SOURCE,
        )
    password = reading.flag(element, "password", default=False)
    if kind not in TYPES:
        password = password or kind.lower() == "password"
        reading.finding(
            "property-type",
            Severity.NOTE,
            f'the property "{bare}" has the type "{kind}", which the standard does not know; it is read as string',
            at=element,
            why="nothing checks its answers but length and value map",
            source=_SOURCE,
        )
        kind = "string"
    qualifiers = _qualifiers(reading, element, bare)
    return Property(
        key=_full_key(entry, bare),
        bare_key=bare,
        type=kind,
        label=reading.text(element, "Label") or bare,
        description=reading.text(element, "Description"),
        category=category,
        user_configurable=reading.flag(element, "userConfigurable", default=False),
        password=password,
        min_length=qualifiers.min_length,
        max_length=qualifiers.max_length,
        allowed=qualifiers.allowed,
        defaults=_defaults(reading, element, bare, sizes),
        sizes=sizes_named(reading, element, sizes),
    )


def _qualifiers(reading: Reading, element: Element, bare: str) -> Qualifiers:
    try:
        qualifiers = read_qualifiers(reading.attribute(element, "qualifiers") or "")
    except InputRefused as exc:
        reading.take_faults(exc, at=element, what=f'the property "{bare}"')
        return Qualifiers()
    for name in qualifiers.unknown:
        reading.finding(
            "property-qualifier",
            Severity.NOTE,
            f'the property "{bare}" has the qualifier {name}, which is not judged',
            at=element,
            why="an answer may be accepted here that the package refuses",
            source=_SOURCE,
        )
    return qualifiers


def _defaults(
    reading: Reading, element: Element, bare: str, sizes: tuple[Size, ...]
) -> tuple[tuple[str, str], ...]:
    # DSP0243: the Value of the chosen configuration, else the Value without one, else ovf:value, else empty.
    defaults: dict[str, str] = {}
    general = reading.attribute(element, "value")
    told = False
    for child in reading.children(element, "Value"):
        value = reading.attribute(child, "value") or ""
        names = sizes_named(reading, child, sizes)
        for name in names:
            if name in defaults:
                reading.fault(f'the property "{bare}" has two values for the size "{name}"', at=child)
            defaults[name] = value
        if not names:
            if told:
                reading.fault(f'the property "{bare}" has two values without a size', at=child)
            told, general = True, value
    if general is not None:
        defaults = {"": general} | defaults
    return tuple(defaults.items())


def _expand(reading: Reading, element: Element, prop: Property, enclosing: PropertyIndex | None) -> Property:
    """Values ``${name}`` take the value of a property of the enclosing collection. Expanded once, never again."""
    if enclosing is None:
        _tell_literal(reading, element, prop)
        return prop
    sizes = {size for size, _ in prop.defaults}
    sources: dict[str, Property] = {}
    for _, text in prop.defaults:
        for name in REFERENCE.findall(text):
            source = enclosing.find(name)
            if source is None:
                reading.fault(
                    f'the property "{prop.key}" refers to ${{{name}}}, and what encloses it has no such property',
                    at=element,
                )
                return prop
            sources[name] = source
            sizes |= {size for size, _ in source.defaults}
    if not sources:
        return prop
    defaults = []
    for size in sorted(sizes):
        # Split, not substituted: a value that itself holds "${…}" must stay as it is.
        parts = REFERENCE.split(prop.default_for(size))
        parts[1::2] = [sources[name].default_for(size) for name in parts[1::2]]
        reading.spend_expanded(sum(map(len, parts)), at=element)
        defaults.append((size, "".join(parts)))
    return dataclasses.replace(prop, defaults=tuple(defaults))


def _tell_literal(reading: Reading, element: Element, prop: Property) -> None:
    for name in dict.fromkeys(name for _, text in prop.defaults for name in REFERENCE.findall(text)):
        reading.finding(
            "reference-to-nothing",
            Severity.NOTE,
            f'a default of the property "{prop.key}" holds ${{{name}}}, and nothing encloses it; it is taken as it stands',
            at=element,
            why="such a text stands for a property of an enclosing collection",
            source=_SOURCE,
        )


def _judge_defaults(reading: Reading, element: Element, prop: Property) -> None:
    given = [(size, text) for size, text in prop.defaults if text]
    if prop.password and given:
        reading.finding(
            "password-default",
            Severity.RISK,
            f'the package has a password of its own as default of "{prop.label}"',
            at=element,
            why="everyone who has the package knows it",
            mend="answer the question for each member; never leave the default",
            source="common practice, no source",
        )
    # A fixed value is judged by the same rules as an answer would be.
    asked = dataclasses.replace(prop, user_configurable=True)
    for _, text in given:
        if fault := check_answer(asked, text):
            reading.finding(
                "property-default",
                Severity.RISK,
                f'a default of the property "{prop.key}" does not fit the property itself',
                at=element,
                why=fault.why,
                mend="answer the question; do not rely on the default",
                source=_SOURCE,
            )
