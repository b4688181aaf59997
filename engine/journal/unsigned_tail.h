#pragma once
// The records behind the newest signed head. An engine signs when it starts, once a minute and when
// it ends, so few are to be there; more say that heads were taken away, or that nobody with the key
// ever had these records. Of one thread.

#include <chrono>
#include <string>

#include "engine/journal/record.h"

namespace engine::journal {

class UnsignedTail {
 public:
  // In their order. A head that cannot be read says nothing here.
  void add(const Record& record);
  // Up to here all are under a head.
  void clear();
  // What shows that an engine would have signed them, one sentence; "": nothing does.
  std::string why() const;

 private:
  bool shared_ = false;   // the others' heads are in their own files
  Position stopped_ = 0;  // the last one
  Position long_ = 0;     // a record that an engine wrote long after the first of its run
  std::string first_;     // when that was
};

}  // namespace engine::journal
