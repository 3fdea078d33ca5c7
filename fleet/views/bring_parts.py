"""What the pages of a file on its way have in common: whose it is, and the moment."""

from __future__ import annotations

from django.http import Http404, HttpRequest
from django.utils import timezone

from fleet.models import User
from fleet.selectors.company.company import company_day, the_company
from fleet.services.bring.ask import AT_ONCE_BYTES, ask_look
from fleet.services.bring.kinds import Moment
from fleet.services.bring.uploads import Upload, UploadNotThere, find_upload, upload_folder
from fleet.tasks import start_run
from fleet.views.asked import asking_user


def asked_upload(request: HttpRequest, key: str) -> Upload:
    """The upload of the address, or the page that says it is not there."""
    user = asking_user(request)
    try:
        return find_upload(folder=upload_folder(), key=key, user=user.username, sees_all=sees_all(user))
    except UploadNotThere as error:
        raise Http404 from error


def asked_moment(request: HttpRequest) -> Moment:
    """Who and when."""
    now, company = timezone.now(), the_company()
    zone = company.timezone if company else "UTC"
    return Moment(asking_user(request).username, now, company_day(now=now), zone)


def look_anew(request: HttpRequest, upload: Upload) -> None:
    """Have a file looked at again, whose layout has changed."""
    moment = asked_moment(request)
    run_id = ask_look(folder=upload_folder(), upload=upload, day=moment.today, now=moment.now)
    start_run(run_id=run_id, at_once=is_small(upload))


def is_small(upload: Upload) -> bool:
    """Whether a file is worked on in the request."""
    return upload.weight <= AT_ONCE_BYTES


def sees_all(user: User) -> bool:
    """Whether other people's files are open too."""
    return user.role == User.Role.ADMINISTRATOR
