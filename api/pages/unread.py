"""What cannot be read of a form that is still being typed."""

from api.pages.forms import PageForm


def unread(form: PageForm, *names: str) -> list[tuple[str, str]]:
    """Why, by the label of its field; what is still empty can wait. Of `names` alone, if given."""
    form.is_valid()
    return [
        (str(form.fields[name].label), str(error.messages[0]))
        for name, errors in form.errors.as_data().items()
        if name in (names or form.fields)
        for error in errors
        if error.code != "required"
    ]
