#pragma once
// What the interface asks of whoever can try changed maps: the files in force, one document through
// changed ones, recorded traffic through them. Nothing of it is sent or kept.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/record.h"

namespace engine::web {

struct TryOutWish {
  std::vector<base::SourceFile> files;  // laid over those in force
  // One document: as it is, or a session's revision from the journal (0: the latest).
  std::string document;
  std::string session;
  std::uint32_t revision = 0;
  // Or recorded traffic: the latest translations of this time.
  bool traffic = false;
  std::string since;  // FHIR instants; empty: no bound
  std::string until;
  std::size_t limit = 0;  // translations; 0: as many as are allowed
  journal::Position before = 0;
  bool values = false;  // examples tell what stood there before and after
};

struct TryOutTold {
  std::string body;  // JSON, as docs/api.md says
  // Sessions whose documents' contents are in it, or that it names.
  struct Read {
    std::string session;
    std::uint32_t revision = 0;
  };
  std::vector<Read> reads;
  // Of recorded traffic: the name of the set that it was asked with; empty when nothing was read. A
  // map may ask whatever it likes of a document, and what differs is the answer.
  std::string asked_with = {};
};

struct TryOutControl {
  // {"set","files":[{"name","hash","bytes"}]}. Errors: kIo.
  std::function<base::Result<std::string>()> files;
  // The text of one. Errors: kNotFound, kIo.
  std::function<base::Result<std::string>(std::string_view name)> file;
  // Answers on any thread. Errors: kNotFound for a session that is not there, kLimit when too many
  // wait already, those of the journal.
  std::function<void(TryOutWish wish, std::function<void(base::Result<TryOutTold>)> told)> run;
};

}  // namespace engine::web
