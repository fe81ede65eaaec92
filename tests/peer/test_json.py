# SPDX-License-Identifier: GPL-3.0-or-later
"""The JSON room against Python: syntax against its json module made strict, content against the
jsonschema package with the schema that the room itself gives, and values after writing."""
import copy
import json
import math
import random
import subprocess
import sys

import jsonschema

ROUNDS = 6000
SAMPLE = {
    "text": "café 😀", "number": 0.1, "standard": 2, "maybe": None, "integer": -3, "place": "tail",
    "choice": "both", "tap": 12, "boolean": True, "span": {"length_m": 4},
    "optional": {"length_m": 1e-3, "count": 5, "fixed": False}, "joints": [[1, "P01"], [0.5]],
    "numbers": [1, 2.5], "texts": ["a", ""], "map": {"P01": 1, "P02": -2},
    "spans": [{"length_m": 1}, {"length_m": 2}], "raw": {"z": [1, 2.5, "x\n"], "a": {}, "n": None},
}
VALUES = [None, True, False, 0, 1, -1, 1.5, 247, 248, -2147483648, 2147483648, 1e300, "", "head",
          "both", "x", [], {}, [1], [1, 2, 3, 4], ["a"], [[1]], [[1, "a", 2]], {"length_m": 1},
          {"length_m": 0}, {"length_m": 1, "more": 1}, {"a": 1}, {"a": "b"}]
BYTES = b'{}[]",:\\u0dD8e1-+.ntf \n\t\x00\x1f\x7f\xc3\xa9\xed\xa0\xff/E'


def ask(documents):
    text = "\n".join(document.hex() for document in documents) + "\n"
    done = subprocess.run([sys.argv[1]], input=text, capture_output=True, text=True, check=True)
    answers = done.stdout.splitlines()
    assert len(answers) == len(documents)
    return answers


def object_of(pairs):
    if len({key for key, _ in pairs}) < len(pairs):
        raise ValueError("duplicate")
    return dict(pairs)


def number_of(text):
    value = float(text)
    if math.isinf(value) or len(text) > 60:
        raise ValueError("number")
    return value


def refuse(text):
    raise ValueError(text)


def check_texts(value):
    if isinstance(value, str):
        if "\0" in value or any(0xD800 <= ord(c) <= 0xDFFF for c in value):
            raise ValueError("text")
    elif isinstance(value, list):
        for item in value:
            check_texts(item)
    elif isinstance(value, dict):
        for key, item in value.items():
            check_texts(key)
            check_texts(item)


def strict(document):
    """The value, or ValueError."""
    value = json.loads(document.decode("utf-8"), object_pairs_hook=object_of, parse_float=number_of,
                       parse_int=number_of, parse_constant=refuse)
    check_texts(value)
    return value


def mutate_bytes(source, document):
    changed = bytearray(document)
    for _ in range(source.randint(1, 3)):
        at = source.randrange(len(changed))
        kind = source.randrange(4)
        if kind == 0:
            changed[at] = source.choice(BYTES)
        elif kind == 1:
            changed.insert(at, source.choice(BYTES))
        elif kind == 2:
            del changed[at]
        else:
            start = source.randrange(len(changed))
            changed[at:at] = changed[start:start + source.randint(1, 12)]
    return bytes(changed)


def containers(value):
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else []
    found = [value] if isinstance(value, (dict, list)) else []
    return found + [c for item in inner for c in containers(item)]


def mutate_value(source):
    value = copy.deepcopy(SAMPLE)
    for _ in range(source.randint(1, 2)):
        where = source.choice(containers(value))
        new = copy.deepcopy(source.choice(VALUES))
        keys = list(where) if isinstance(where, dict) else list(range(len(where)))
        kind = source.randrange(5)
        if kind < 3 and keys:
            where[source.choice(keys)] = new
        elif kind == 3 and keys:
            del where[source.choice(keys)]
        elif isinstance(where, dict):
            where[source.choice(["more", "count", "number", "tap"])] = new
        else:
            where.append(new)
    return value


def compare_syntax(source):
    start = json.dumps(SAMPLE, ensure_ascii=False).encode()
    escaped = json.dumps(SAMPLE).encode()
    documents = [start, escaped] + [mutate_bytes(source, source.choice([start, escaped]))
                                    for _ in range(ROUNDS)]
    refused = 0
    for document, answer in zip(documents, ask(documents)):
        try:
            strict(document)
            peer = True
        except ValueError:
            peer = False
        refused += not peer
        assert (answer != "syntax") == peer, (document, answer)
    print(f"syntax: {len(documents)} documents, {refused} refused by both")
    assert ROUNDS / 10 < refused < ROUNDS


def compare_content(source, validator):
    values = [SAMPLE] + [mutate_value(source) for _ in range(ROUNDS)]
    documents = [json.dumps(value).encode() for value in values]
    refused = 0
    for value, answer in zip(values, ask(documents)):
        peer = validator.is_valid(value)
        refused += not peer
        assert answer.split(" ")[0] == ("ok" if peer else "content"), (value, answer)
        if peer:
            written = json.loads(answer[3:])
            assert validator.is_valid(written), written
            for key, item in value.items():
                if key in ("span", "optional", "spans"):
                    continue
                assert written.get(key) == item, (key, item, written.get(key))
    print(f"content: {len(documents)} documents, {refused} refused by both")
    assert ROUNDS / 10 < refused < ROUNDS


def main():
    schema = json.loads(subprocess.run([sys.argv[1], "schema"], capture_output=True, check=True).stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    compare_syntax(random.Random(1))
    compare_content(random.Random(2), jsonschema.Draft202012Validator(schema))


main()
