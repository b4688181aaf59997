#pragma once
// Of what a bundle takes back, what was looked for and is not there: putting it there only to mark
// it entered in error would show a chart what it never had. Pure.

#include <functional>
#include <set>
#include <string>
#include <string_view>

namespace engine::delivery {

// The fullUrls of entries that need not be sent: those that are entered in error and `absent`,
// unless something that is sent refers to them, and each Provenance that is about nothing else.
std::set<std::string> never_there(std::string_view bundle,
                                  const std::function<bool(std::string_view full_url)>& absent);

}  // namespace engine::delivery
