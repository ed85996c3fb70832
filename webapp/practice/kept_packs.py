"""Packs that were made, kept for as long as what they were made from stays."""

import gzip
import json
from collections import OrderedDict
from dataclasses import dataclass
from hashlib import sha256
from threading import Lock
from typing import Final

from flask import current_app

from audits.records import Block, Farm, StandardVersion
from audits.services.standards import standard_digest
from audits.vocabulary import Method
from webapp.extensions import present
from webapp.practice.pack import pack_payload

# Several megabytes each before they are packed.
_MOST_KEPT: Final = 6
_making = Lock()


@dataclass(frozen=True)
class Pack:
    """A pack as it is sent."""

    zipped: bytes
    digest: str

    @property
    def text(self) -> bytes:
        """The pack as JSON."""
        return gzip.decompress(self.zipped)


def the_pack(farm: Farm, block: Block, version: StandardVersion, method: Method) -> Pack:
    """Return the pack of a block, made once for each version of its standard and method."""
    kept: OrderedDict[object, Pack] = current_app.extensions.setdefault(
        "pruning_audit_practice_packs", OrderedDict()
    )
    key = (block, version.id, standard_digest(version), method, farm.units, farm.region)
    # One after another: phones of a whole crew ask at the same moment.
    with _making:
        found = kept.get(key)
        if found is None:
            payload = pack_payload(farm, block, version, method, present())
            text = json.dumps(payload, ensure_ascii=False, separators=(",", ":")).encode()
            found = Pack(gzip.compress(text, mtime=0), sha256(text).hexdigest())
            kept[key] = found
            if len(kept) > _MOST_KEPT:
                kept.popitem(last=False)
        else:
            kept.move_to_end(key)
    return found
