"""The base of every group of keys in the project file, and the problems it raises, in plain words."""

from __future__ import annotations

from collections.abc import Callable, Set
from typing import Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, ModelWrapValidatorHandler, ValidationError, model_validator
from pydantic_core import InitErrorDetails, PydanticCustomError

from optimizer.project.meanings import MEANINGS
from optimizer.project.suggest import did_you_mean, nearest

#: Where a problem points: at the value, or at the key.
Points = Literal["value", "key"]

#: In the JSON Schema, that a list or a group is not empty; a validator before it says so in words.
SOME: Any = Field(min_length=1)


def fault(message: str, hint: str = "", *, column: int = 0, at: Points = "value") -> PydanticCustomError:
    """A problem of the value being read; ``column`` counts characters of its text from 1 (0: the start)."""
    return PydanticCustomError(
        "layerwright", "{message}", {"message": message, "hint": hint, "column": column, "at": at}
    )


def shown(value: Any) -> str:
    """``value`` as it may stand in a message."""
    if isinstance(value, dict):
        return "a group of keys"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "nothing"
    text = str(value)
    return f"'{text if len(text) <= 60 else text[:57] + '...'}'"


class Group(BaseModel):
    """A group of keys. Unknown keys, empty keys and missing keys are all reported, each in words."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        arbitrary_types_allowed=True,
        json_schema_extra=lambda schema, model: _described(schema, model),
    )

    #: What stands in messages for this group; examples for keys that are missing.
    example: ClassVar[dict[str, str]] = {}
    #: What keys mean that have no entry in ``meanings`` under the name of the class.
    meaning: ClassVar[dict[str, str]] = {}

    @model_validator(mode="wrap")
    @classmethod
    def _in_words(cls, value: Any, handler: ModelWrapValidatorHandler[Any]) -> Any:
        if isinstance(value, cls):
            return value
        known = known_keys(cls)
        if not isinstance(value, dict):
            raise fault(f"a group of keys is expected here, not {shown(value)}", "keys: " + ", ".join(known))
        lines: list[InitErrorDetails] = []
        rest: dict[str, Any] = {}
        for key, item in value.items():
            if key not in known:
                lines.append(
                    line(fault("is not a known key", did_you_mean(key, known, "keys"), at="key"), (key,))
                )
            elif item is None:
                example = cls.example.get(key, "")
                hint = f"for example '{key}: {example}'" if example else "give a value or remove the key"
                lines.append(line(fault("has no value", hint, at="key"), (key,)))
            else:
                rest[key] = item
        try:
            result = handler(rest)
        except ValidationError as error:
            given = {key for key, item in value.items() if item is None and key in known}
            # a misspelt key is not reported once more as missing
            given |= {near for key in value if key not in known for near in nearest(key, known, 1)}
            lines += reworded(error, given, cls.example)
        if lines:
            raise ValidationError.from_exception_data(cls.__name__, lines)
        return result


def meanings_of(model: type[BaseModel]) -> dict[str, str]:
    """What the keys of the group mean; those that it has from other groups included."""
    found: dict[str, str] = dict(getattr(model, "meaning", {}))
    for each in model.__mro__:
        found = {**MEANINGS.get(each.__name__, {}), **found}
    return found


def _described(schema: dict[str, Any], model: type[BaseModel]) -> None:
    """Adds meanings and examples to the JSON Schema of a group, whose own text is for developers."""
    schema.pop("description", None)
    said = meanings_of(model)
    examples: dict[str, str] = getattr(model, "example", {})
    for key, entry in schema.get("properties", {}).items():
        if key in said:
            entry["description"] = said[key]
        if examples.get(key, "{")[0] not in '{["':
            entry["examples"] = [_scalar(examples[key])]


def _scalar(text: str) -> str | float | bool:
    """A short value as YAML reads it."""
    try:
        return {"true": True, "false": False}.get(text, text) if text.isalpha() else float(text)
    except ValueError:
        return text


def known_keys(model: type[BaseModel]) -> list[str]:
    return [f.alias or name for name, f in model.model_fields.items()]


def line(error: PydanticCustomError, location: tuple[str | int, ...]) -> InitErrorDetails:
    return InitErrorDetails(type=error, loc=location, input=None)


_WORDS = {
    "list_type": ("a list is expected here", "'- ...' lines, or [ ..., ... ]"),
    "tuple_type": ("a list is expected here", "'- ...' lines, or [ ..., ... ]"),
    "dict_type": ("a group of 'key: value' pairs is expected here", ""),
    "mapping_type": ("a group of 'key: value' pairs is expected here", ""),
    "too_short": ("is empty", "give at least one"),
    "string_type": ("a text is expected here", ""),
}


def reworded(
    error: ValidationError,
    given: Set[str] = frozenset(),
    example: dict[str, str] | None = None,
) -> list[InitErrorDetails]:
    """The lines of ``error`` in our words; missing keys that are ``given`` in another form are left out."""
    lines: list[InitErrorDetails] = []
    for item in error.errors(include_url=False):
        kind, place = item["type"], item["loc"]
        context = item.get("ctx", {})
        if kind == "layerwright":
            kept = fault(context["message"], context["hint"], column=context["column"], at=context["at"])
        elif kind == "missing":
            name = str(place[-1])
            if len(place) == 1 and name in given:
                continue
            sample = (example or {}).get(name, "")
            kept = fault("is missing", f"for example '{name}: {sample}'" if sample else "")
        elif kind in _WORDS:
            message, hint = _WORDS[kind]
            kept = fault(message if kind == "too_short" else f"{message}, not {shown(item['input'])}", hint)
        else:
            kept = fault(f"cannot be read as given: {shown(item['input'])}")
        lines.append(line(kept, place))
    return lines


def one_of(choose: Callable[[Any], type[Group]]) -> Callable[[Any], Group]:
    """Validator of a field that may be one of several groups; ``choose`` picks one from the keys given."""

    def read(value: Any) -> Group:
        return choose(value).model_validate(value)

    return read
