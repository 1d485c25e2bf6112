# A real SMTP server (aiosmtpd) for tests: prints its port, then one JSON line for each mail it takes, read by
# Python's own mail parser. Arguments: plain | starttls | smtps, then certificate, key, user, password ("-": none).
import asyncio, email, email.policy, json, logging, ssl, sys, warnings
from aiosmtpd.smtp import SMTP, AuthResult

warnings.simplefilter("ignore")
logging.disable(logging.WARNING)
way, certificate, key, user, password = sys.argv[1:6]


class Keep:
    async def handle_DATA(self, server, session, envelope):
        mail = email.message_from_bytes(envelope.original_content, policy=email.policy.default)
        parts = {kind: mail.get_body((kind,)) for kind in ("plain", "html")}
        print(json.dumps({
            "from": envelope.mail_from,
            "to": envelope.rcpt_tos,
            "tls": session.ssl is not None or way == "smtps",
            "login": session.authenticated,
            "headers": {name: str(value) for name, value in mail.items()},
            "type": mail.get_content_type(),
            "text": parts["plain"].get_content() if parts["plain"] else None,
            "html": parts["html"].get_content() if parts["html"] else None,
            "defects": [str(d) for part in mail.walk() for d in part.defects],
        }), flush=True)
        return "250 OK"


def known(server, session, envelope, mechanism, data):
    good = (data.login, data.password) == (user.encode(), password.encode())
    return AuthResult(success=good, handled=good)


async def main():
    tls = None
    if way != "plain":
        tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        tls.load_cert_chain(certificate, key)
    login = {} if user == "-" else {
        "authenticator": known, "auth_required": True, "auth_require_tls": way == "starttls",
    }

    def session():
        starttls = {"tls_context": tls, "require_starttls": True} if way == "starttls" else {}
        return SMTP(Keep(), hostname="localhost", **starttls, **login)

    server = await asyncio.get_event_loop().create_server(
        session, "127.0.0.1", 0, ssl=tls if way == "smtps" else None)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


asyncio.run(main())
