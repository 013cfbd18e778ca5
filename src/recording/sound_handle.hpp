#pragma once

#include <memory>

#include <sndfile.h>

namespace idlehark {

struct CloseSound {
    void operator()(SNDFILE* f) const noexcept { sf_close(f); }
};
/// A file of libsndfile that closes itself.
using SoundHandle = std::unique_ptr<SNDFILE, CloseSound>;

}  // namespace idlehark
