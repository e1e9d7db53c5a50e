"""Bodies about papers."""

from api.schemas.base import Schema
from api.schemas.fields import Text


class CertificateCheckSchema(Schema):
    """The text of a certificate, as its code holds it."""

    certificate = Text(required=True, least=1, most=4000)
