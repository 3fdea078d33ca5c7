"""Photos of the own work, to whoever may open their garden."""

from __future__ import annotations

from django.conf import settings
from django.http import FileResponse, Http404, HttpRequest
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from fleet.selectors.company.company import company_day
from fleet.selectors.on_site.photo_files import photo_folder, photo_path, photos_for
from fleet.views.asked import asking_user


@cache_control(private=True, max_age=0, no_store=True)
@require_safe
def photo(request: HttpRequest, pk: int) -> FileResponse:
    """Return a photo's bytes."""
    today = company_day(now=timezone.now())
    found = photos_for(user=asking_user(request), today=today).filter(pk=pk).first()
    if found is None:
        raise Http404
    path = photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256=found.sha256)
    if not path.is_file():
        raise Http404
    return FileResponse(path.open("rb"), content_type="image/jpeg", filename=f"{found.sha256[:12]}.jpg")
