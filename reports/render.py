"""Drawing finished HTML as a PDF."""


class RenderFailed(Exception):
    """The paper could not be drawn; the sentence says why."""


def render_pdf(html: str) -> bytes:
    """The PDF of finished HTML that needs nothing from outside."""
    from weasyprint import HTML  # noqa: PLC0415  a slow import, and only workers draw

    try:
        return HTML(string=html).write_pdf()
    except ValueError as error:
        raise RenderFailed(str(error)) from error
