"""A photo of a label, in place of a scan."""

from django import forms

from registry.scanning.queries import LARGEST_BYTES


class PhotoForm(forms.Form):
    """One photo. It is looked at once and not kept."""

    photo = forms.FileField(
        label="Photo of the label",
        help_text="JPEG or PNG. It is read once and not kept.",
        max_length=255,
        widget=forms.ClearableFileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={
            "required": "Take or choose a photo of the label first.",
            "empty": "The file is empty; take the photo again.",
            "missing": "Take or choose a photo of the label first.",
        },
    )

    def clean_photo(self) -> bytes:
        """Return the photo's bytes, if there are not too many of them."""
        photo = self.cleaned_data["photo"]
        if photo.size > LARGEST_BYTES:
            raise forms.ValidationError(
                f"The photo is larger than {LARGEST_BYTES // 1_000_000} MB; send a smaller one."
            )
        content: bytes = photo.read()
        return content
