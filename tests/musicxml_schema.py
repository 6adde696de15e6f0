"""The official MusicXML 4.0 schema, as the PyPI package musicxml carries it."""

import importlib.util
from functools import cache
from pathlib import Path

from lxml import etree


def attributes_schema(namespace: str, names: str) -> str:
    """The two small schemas that the official one imports, from memory: attributes that hold any text."""
    attributes = "".join(f'<xs:attribute name="{name}" type="xs:string"/>' for name in names.split())
    return (
        f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{namespace}">{attributes}</xs:schema>'
    )


IMPORTED = {
    "xml.xsd": attributes_schema("http://www.w3.org/XML/1998/namespace", "lang space base"),
    "xlink.xsd": attributes_schema("http://www.w3.org/1999/xlink", "href type role title show actuate"),
}


class _Local(etree.Resolver):
    def resolve(self, url, _public_id, context):
        name = url.rpartition("/")[2]
        return self.resolve_string(IMPORTED[name], context) if name in IMPORTED else None


@cache
def schema() -> etree.XMLSchema:
    found = importlib.util.find_spec("musicxml")
    folder = Path(found.origin).parent / "generate_classes"
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local())
    return etree.XMLSchema(etree.parse(str(folder / "musicxml_4_0.xsd"), parser))
